"""Credit an invoice, fully or in part: the only way to correct one."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext

from billing.invoices.issuing import store_invoice, update_repair_revenue
from billing.invoices.models import EInvoice, Invoice, InvoiceLine
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.money import Totals
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def issue_credit_note(
    invoice: Invoice,
    *,
    why: str,
    stamp: Stamp,
    quantities: dict[int, Decimal] | None = None,
) -> Invoice:
    """Credit an invoice by a credit note, which has its own number series.

    `quantities` are those to credit, by the key of a line; without them everything that
    is not credited yet is.
    """
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("pdf").get(pk=invoice.pk)
    if invoice.is_credit_note:
        raise RefusedError(gettext("A credit note cannot be credited."))
    if invoice.credit_notes.filter(is_whole=True).exists():
        raise RefusedError(
            gettext("{invoice} is already fully credited.").format(
                invoice=invoice.full_number
            )
        )
    lines = invoice.remaining_lines()
    credited = [_quantity(line, quantities) for line in lines]
    if quantities is not None and not any(credited):
        raise RefusedError(
            gettext("Enter the quantity to credit on at least one line.")
        )
    totals = invoice.totals_of_credit(lines, credited)
    _check_totals(invoice, totals)
    note = Invoice(
        kind=Invoice.Kind.CREDIT_NOTE,
        credits=invoice,
        is_whole=[line.quantity for line in lines] == credited,
        job=job,
        quote=invoice.quote,
        customer=invoice.customer,
        supplied_on=invoice.supplied_on,
        currency=invoice.currency,
        prices_include_tax=invoice.prices_include_tax,
        text=why,
        einvoice=_einvoice_form(invoice),
    )
    note.set_party("buyer", invoice.party("buyer"))
    store_invoice(
        note,
        lines=_credit_lines(lines, credited, totals),
        totals=totals,
        shop=Shop.current(),
        stamp=stamp,
    )
    update_repair_revenue(job)
    return note


def _quantity(line: InvoiceLine, quantities: dict[int, Decimal] | None) -> Decimal:
    """Return how much of a line is credited: at least 0, at most what remains."""
    if quantities is None:
        return line.quantity
    quantity = quantities.get(line.pk, Decimal(0))
    if not min(Decimal(0), line.quantity) <= quantity <= max(Decimal(0), line.quantity):
        raise RefusedError(
            gettext("At most {quantity} of “{text}” can be credited.").format(
                quantity=f"{line.quantity.normalize():f}", text=line.text
            )
        )
    return quantity


def _check_totals(invoice: Invoice, totals: Totals) -> None:
    """Raise if the note credits more than remains of the invoice, or charges money."""
    left = invoice.remaining_gross
    if totals.gross > 0 or -totals.gross > left or totals.net > 0 or totals.tax > 0:
        raise RefusedError(
            gettext(
                "The credit exceeds the remaining invoice amount. Also credit the lines"
                " that reduce it."
            )
        )


def _credit_lines(
    lines: list[InvoiceLine], quantities: list[Decimal], totals: Totals
) -> list[InvoiceLine]:
    credit_lines = [
        InvoiceLine.copied(line, quantity=-quantity, credits=line)
        for line, quantity in zip(lines, quantities, strict=True)
        if quantity
    ]
    for line, amount in zip(credit_lines, totals.lines, strict=True):
        line.amount = amount
    return credit_lines


def _einvoice_form(invoice: Invoice) -> str:
    """Return the form of the e-invoice of a credit note: that of its invoice."""
    has_ubl = EInvoice.objects.filter(invoice=invoice).exists()
    later = Customer.EInvoice.UBL if has_ubl else Customer.EInvoice.NONE
    return invoice.einvoice or later
