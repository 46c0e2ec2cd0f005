"""Invoices are credited, as a whole or in part: the only way to correct one."""

from decimal import Decimal

from django.db import transaction

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
    back: dict[int, Decimal] | None = None,
) -> Invoice:
    """Credit an invoice by a credit note, in a series of its own.

    `back` is the quantity to credit by the key of a line; without it all that is not
    credited yet is.
    """
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("pdf").get(pk=invoice.pk)
    if invoice.is_credit_note:
        raise RefusedError("A credit note cannot be credited.")
    if invoice.credit_notes.filter(is_whole=True).exists():
        raise RefusedError(f"{invoice.full_number} is already fully credited.")
    stood = invoice.standing_lines()
    gone = [line.quantity if back is None else _quantity(line, back) for line in stood]
    if back is not None and not any(gone):
        raise RefusedError("Enter the quantity to credit on at least one line.")
    totals = invoice.totals_taking_back(stood, gone)
    _check_totals(invoice, totals)
    pairs = list(zip(stood, gone, strict=True))
    note = Invoice(
        kind=Invoice.Kind.CREDIT_NOTE,
        credits=invoice,
        is_whole=all(line.quantity == quantity for line, quantity in pairs),
        job=job,
        quote=invoice.quote,
        customer=invoice.customer,
        buyer_name=invoice.buyer_name,
        buyer_address=invoice.buyer_address,
        buyer_tax_id=invoice.buyer_tax_id,
        buyer_country=invoice.buyer_country,
        supplied_on=invoice.supplied_on,
        currency=invoice.currency,
        prices_include_tax=invoice.prices_include_tax,
        words=why,
        einvoice=_einvoice_form(invoice),
    )
    store_invoice(
        note,
        lines=_credit_lines(pairs, totals),
        totals=totals,
        shop=Shop.current(),
        stamp=stamp,
    )
    update_repair_revenue(job)
    return note


def _quantity(line: InvoiceLine, back: dict[int, Decimal]) -> Decimal:
    """How much of a line is credited; never more than stands, nor the other way."""
    asked = back.get(line.pk, Decimal(0))
    if not min(Decimal(0), line.quantity) <= asked <= max(Decimal(0), line.quantity):
        raise RefusedError(
            f"At most {line.quantity.normalize():f} of “{line.text}” can be credited."
        )
    return asked


def _check_totals(invoice: Invoice, totals: Totals) -> None:
    """No part of a note gives more than its invoice asked, nor asks for anything."""
    left = invoice.gross - sum(
        (-note.gross for note in invoice.credit_notes.only("gross")), Decimal(0)
    )
    if totals.gross > 0 or -totals.gross > left or totals.net > 0 or totals.tax > 0:
        raise RefusedError(
            "The credit exceeds the invoice. Credit the lines that reduce it, too."
        )


def _credit_lines(
    pairs: list[tuple[InvoiceLine, Decimal]], totals: Totals
) -> list[InvoiceLine]:
    lines = [
        InvoiceLine.copied(
            line, position=line.position, quantity=-quantity, takes_back=line
        )
        for line, quantity in pairs
        if quantity
    ]
    for line, amount in zip(lines, totals.lines, strict=True):
        line.amount = amount
    return lines


def _einvoice_form(invoice: Invoice) -> str:
    """Whoever got the invoice as an e-invoice gets the credit note the same way."""
    has_ubl = EInvoice.objects.filter(invoice=invoice).exists()
    later = Customer.EInvoice.UBL if has_ubl else Customer.EInvoice.NONE
    return invoice.einvoice or later
