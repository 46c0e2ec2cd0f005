"""Issue invoices: number, lines, document and e-invoice together, or none of them."""

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from hashlib import sha256
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext

from billing.einvoice import factur_x
from billing.einvoice.buyer import default_buyer
from billing.einvoice.en16931 import Party, check_reverse_charge
from billing.invoices import payments
from billing.invoices.balance import available_credit
from billing.invoices.charged import allocate_net
from billing.invoices.coins import CashAmount
from billing.invoices.draft import InvoiceDraft, draft_invoice
from billing.invoices.einvoice_of import einvoice_file
from billing.invoices.models import EInvoice, Invoice, InvoiceLine
from billing.invoices.papers import invoice_paper
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import shop_text
from shopdesk.money import Totals
from shopdesk.papers.render import document_language
from shopdesk.shop import numbering
from shopdesk.shop.models import Shop
from shopdesk.shop.setting_up import check_set_up
from shopdesk.stamp import Stamp


def warranty_terms(shop: Shop) -> str:
    """Return the shop's warranty terms as printed on an invoice."""
    with document_language(shop):
        return shop_text(shop, "warranty_text")


def check_can_invoice(job: Job) -> None:
    """Raise unless the job is done and has no invoice in force."""
    if job.state not in (states.READY, states.HANDED_OVER):
        raise RefusedError(
            gettext(
                "Job {number} is {state}. It can be invoiced once the work is done."
            ).format(number=job.number, state=job.get_state_display())
        )
    if job.invoices.in_force().exists():
        raise RefusedError(
            gettext("Job {number} already has an invoice.").format(number=job.number)
        )


@transaction.atomic
def issue_invoice(
    job: Job,
    *,
    stamp: Stamp,
    paid: Decimal = Decimal(0),
    means: str = "",
    key: UUID | None = None,
    buyer: Party | None = None,
) -> Invoice:
    """Invoice a finished job; use its deposits, and record what is paid immediately.

    Raises: RefusedError, also as IncompleteError if reverse charge lacks a VAT number.

    The number is taken in this transaction, so no number is lost if anything fails. A
    job whose invoice was credited can be invoiced again.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    check_can_invoice(job)
    shop = Shop.current()
    check_set_up(shop)
    supplied_on = job.handed_over_on or stamp.on
    draft = draft_invoice(job, on=supplied_on, shop=shop)
    money = _paid_at_once(draft, paid=paid, means=means, shop=shop)
    has_warranty = job.repairs.filter(warranty_until__isnull=False).exists()
    invoice = Invoice(
        job=job,
        quote=draft.quote,
        customer=job.customer,
        supplied_on=supplied_on,
        due_on=stamp.on + timedelta(days=shop.payment_term_days),
        currency=draft.currency,
        prices_include_tax=draft.prices_include_tax,
        text=warranty_terms(shop) if has_warranty else "",
        deposits_used=draft.deposits_used,
        paid_with_it=money.amount,
        rounding=money.rounding,
        means=means if paid else "",
        einvoice=job.customer.einvoice,
    )
    buyer = buyer or default_buyer(job.customer, shop)
    check_reverse_charge({line.tax_category for line in draft.lines}, buyer)
    invoice.set_party("buyer", buyer)
    store_invoice(
        invoice,
        lines=draft.lines,
        totals=draft.totals,
        overpaid=draft.overpaid,
        shop=shop,
        stamp=stamp,
    )
    _apply_deposits(invoice, stamp=stamp)
    if paid:
        payments.create_payment(
            money,
            job=job,
            invoice=invoice,
            currency=invoice.currency,
            means=means,
            key=key,
            stamp=stamp,
        )
    update_repair_revenue(job)
    return invoice


def _paid_at_once(
    draft: InvoiceDraft, *, paid: Decimal, means: str, shop: Shop
) -> CashAmount:
    if not paid:
        return CashAmount(Decimal(0))
    if paid < 0:
        raise RefusedError(
            gettext("A refund is only possible once the invoice is issued.")
        )
    return payments.checked_amount(
        paid, due=draft.amount_due, means=means, currency=draft.currency, shop=shop
    )


def _apply_deposits(invoice: Invoice, *, stamp: Stamp) -> None:
    """Transfer the deposits that the invoice uses; the rest can be refunded."""
    left = invoice.deposits_used
    for source, here in available_credit(invoice.job, currency=invoice.currency):
        if amount := min(left, here):
            payments.transfer_deposit(amount, source=source, to=invoice, stamp=stamp)
            left -= amount


def store_invoice(
    invoice: Invoice,
    *,
    lines: Sequence[InvoiceLine],
    totals: Totals,
    overpaid: Decimal = Decimal(0),
    shop: Shop,
    stamp: Stamp,
) -> None:
    """Give the invoice its number, render its document, and store both."""
    pattern = shop.credit_series if invoice.is_credit_note else shop.invoice_series
    invoice.series = numbering.series_name(pattern, on=stamp.on)
    invoice.number = numbering.give(invoice.series, kind=invoice.kind, on=stamp.on)
    invoice.issued_on, invoice.issued_by = stamp.on, stamp.by
    seller = Party(shop.name, shop.address, shop.country, shop.tax_id)
    invoice.set_party("seller", seller)
    invoice.net, invoice.tax, invoice.gross = totals.net, totals.tax, totals.gross
    pdf = invoice_paper(
        invoice,
        lines=lines,
        totals=totals,
        overpaid=overpaid,
        shop=shop,
        made_at=stamp.at,
    )
    invoice.keep(pdf)
    invoice.save(force_insert=True)
    for line in lines:
        line.invoice = invoice
    InvoiceLine.objects.bulk_create(lines)
    if invoice.einvoice == Customer.EInvoice.UBL:
        _create_ubl(invoice, lines=lines, shop=shop, stamp=stamp)


@transaction.atomic
def store_ubl(invoice: Invoice, *, stamp: Stamp) -> EInvoice:
    """Return the UBL file of an invoice, created when first requested, then stored."""
    invoice = Invoice.objects.select_for_update().defer("pdf").get(pk=invoice.pk)
    stored = EInvoice.objects.filter(invoice=invoice).first()
    if stored:
        return stored
    return _create_ubl(
        invoice, lines=invoice.lines.all(), shop=Shop.current(), stamp=stamp
    )


def _create_ubl(
    invoice: Invoice, *, lines: Sequence[InvoiceLine], shop: Shop, stamp: Stamp
) -> EInvoice:
    file = einvoice_file(factur_x.ubl, invoice, lines, shop=shop)
    return EInvoice.objects.create(
        invoice=invoice, file=file, file_hash=sha256(file).hexdigest(), made_at=stamp.at
    )


def update_repair_revenue(job: Job) -> None:
    """Store the revenue before tax of each repair, less what was credited."""
    covered = job.covered_repairs
    # Lines of no repair belong to the first, which is one that was charged if any was.
    repairs = sorted(
        job.repairs.filter(outcome=states.FIXED), key=lambda one: one.pk in covered
    )
    charged = dict.fromkeys([repair.pk for repair in repairs], Decimal(0))
    for invoice in job.invoices.filter(kind=Invoice.Kind.INVOICE).defer("pdf"):
        lines = invoice.remaining_lines()
        shares = allocate_net(
            [(line.repair_id, line.as_money()) for line in lines],
            repairs=list(charged),
            net=invoice.sum_of(lines).net,
            places=invoice.places,
            prices_include_tax=invoice.prices_include_tax,
        )
        for repair, share in shares.items():
            charged[repair] += share
    for repair in repairs:
        repair.charged = max(charged[repair.pk], Decimal(0))
        repair.save(update_fields=["charged"])
