"""What happens to bills, payments and their numbers at once."""

from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from billing.invoices.models import EInvoice, Invoice, InvoiceLine, Payment
from billing.invoices.printing import invoice_paper, ubl_file
from billing.invoices.queries import bill_of
from billing.pricing.shares import net_shares
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.shop.models import Series, Shop
from shopdesk.templatetags.desk import money as in_words


class Refused(Exception):
    """A bill or a payment that can't be, told as a sentence."""


def series_of(kind: str, on: date, shop: Shop) -> str:
    """The series of numbers a bill of the day `on` belongs to: INV26, CN26."""
    is_credit = kind == Invoice.Kind.CREDIT_NOTE
    begins = shop.credit_series if is_credit else shop.invoice_series
    return begins.replace("{yy}", f"{on:%y}")


@transaction.atomic
def issue(
    job: Job,
    *,
    on: date,
    at: datetime,
    by,
    paid: Decimal = Decimal(0),
    means: str = "",
    key: UUID | None = None,
) -> Invoice:
    """Bill a finished job, and book what is paid at once.

    The number is taken in this transaction: where anything fails no number is lost.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state not in (states.READY, states.HANDED_BACK):
        raise Refused(
            f"Job {job.number} is {job.get_state_display()}: it is billed when the work"
            " is done."
        )
    if job.invoices.standing().exists():
        raise Refused(f"Job {job.number} is billed already.")
    shop = Shop.current()
    bill = bill_of(job, on=on, shop=shop)
    if paid > bill.totals.gross:
        raise Refused(_too_much(bill.totals.gross, bill.currency, shop))
    covered = job.repairs.filter(covered_until__isnull=False).exists()
    customer = job.customer
    invoice = _numbered(
        Invoice(
            job=job,
            quote=bill.quote,
            customer=customer,
            buyer_name=", ".join(filter(None, [customer.company, customer.name])),
            buyer_address=customer.address,
            buyer_tax_id=customer.tax_id,
            buyer_country=customer.country or shop.country,
            supplied_on=on,
            currency=bill.currency,
            prices_include_tax=bill.prices_include_tax,
            words=shop.cover_words if covered else "",
            paid_with_it=paid,
            means=means if paid else "",
            einvoice=customer.einvoice,
        ),
        totals=bill.totals,
        shop=shop,
        on=on,
        by=by,
    )
    _keep(
        invoice,
        lines=bill.lines,
        totals=bill.totals,
        job=job,
        shop=shop,
        at=at,
        paid=paid,
        means=Payment.Means(means).label if paid else "",
    )
    _say_what_was_charged(job, invoice, bill)
    if paid:
        pay(invoice, amount=paid, means=means, key=key, on=on, at=at, by=by)
    return invoice


def _numbered(
    invoice: Invoice, *, totals: money.Totals, shop: Shop, on: date, by
) -> Invoice:
    invoice.series = series_of(invoice.kind, on, shop)
    invoice.number = Series.take(invoice.series)
    invoice.issued_on = on
    invoice.issued_by = by
    invoice.seller_name = shop.name
    invoice.seller_address = shop.address
    invoice.seller_country = shop.country
    invoice.seller_tax_id = shop.tax_id
    invoice.net, invoice.tax, invoice.gross = totals.net, totals.tax, totals.gross
    return invoice


def _keep(invoice: Invoice, *, lines: list[InvoiceLine], at, **paper) -> None:
    """Make the paper and write the bill down with it; neither changes again."""
    invoice.paper = invoice_paper(invoice, lines=lines, made_at=at, **paper)
    invoice.paper_hash = sha256(invoice.paper).hexdigest()
    invoice.save(force_insert=True)
    for line in lines:
        line.invoice = invoice
    InvoiceLine.objects.bulk_create(lines)
    if invoice.einvoice == Customer.EInvoice.UBL:
        _keep_ubl(invoice, lines=lines, at=at)


def _keep_ubl(invoice: Invoice, *, lines: list[InvoiceLine], at: datetime) -> EInvoice:
    file = ubl_file(invoice, lines=lines)
    return EInvoice.objects.create(
        invoice=invoice, file=file, file_hash=sha256(file).hexdigest(), made_at=at
    )


@transaction.atomic
def keep_ubl(invoice: Invoice, *, at: datetime) -> EInvoice:
    """The UBL file of a bill: made when it is first asked for, then the one kept."""
    invoice = Invoice.objects.select_for_update().defer("paper").get(pk=invoice.pk)
    known = EInvoice.objects.filter(invoice=invoice).first()
    return known or _keep_ubl(invoice, lines=list(invoice.lines.all()), at=at)


def _say_what_was_charged(job: Job, invoice: Invoice, bill) -> None:
    """Each repair learns what it brought in, before tax."""
    repairs = list(job.repairs.filter(outcome=states.FIXED))
    shares = net_shares(
        zip(bill.owners, [line.as_money() for line in bill.lines], strict=True),
        repairs=[repair.pk for repair in repairs],
        net=invoice.net,
        places=Shop(currency=invoice.currency).places,
        prices_include_tax=invoice.prices_include_tax,
    )
    for repair in repairs:
        repair.charged = max(shares[repair.pk], Decimal(0))
        repair.save(update_fields=["charged"])


def _too_much(left: Decimal, currency: str, shop: Shop) -> str:
    if left <= 0:
        return "Nothing is left to pay on this bill."
    shown = in_words(left, Shop(currency=currency, locale=shop.locale))
    return f"Only {shown} is left to pay: take no more than that."


@transaction.atomic
def pay(
    invoice: Invoice,
    *,
    amount: Decimal,
    means: str,
    key: UUID,
    on: date,
    at: datetime,
    by,
) -> Payment:
    """Money in; a negative `amount` is money back. The same `key` is one payment."""
    # The lock keeps two payments apart, so that together they can't be too much.
    invoice = Invoice.objects.select_for_update().defer("paper").get(pk=invoice.pk)
    known = Payment.objects.filter(key=key).first()
    if known:
        if known.invoice_id != invoice.pk:
            raise Refused("This form was used for another bill: open the page again.")
        return known
    if invoice.is_credit_note:
        raise Refused("Pay back on the invoice that the credit note takes back.")
    left = invoice.balance
    if amount > 0 and amount > left:
        raise Refused(_too_much(left, invoice.currency, Shop.current()))
    if amount < 0 and amount < left:
        raise Refused("No more can be paid back than the shop owes on this bill.")
    return Payment.objects.create(
        invoice=invoice,
        amount=amount,
        means=means,
        key=key,
        paid_on=on,
        taken_at=at,
        taken_by=by,
    )


@transaction.atomic
def credit(invoice: Invoice, *, why: str, on: date, at: datetime, by) -> Invoice:
    """Take a whole invoice back by a credit note, in a series of its own."""
    invoice = Invoice.objects.select_for_update().defer("paper").get(pk=invoice.pk)
    if invoice.is_credit_note:
        raise Refused("A credit note can't be credited.")
    if invoice.credit_notes.exists():
        raise Refused(f"{invoice.full_number} was credited already.")
    shop = Shop.current()
    lines = [
        InvoiceLine(
            position=line.position,
            kind=line.kind,
            text=line.text,
            quantity=-line.quantity,
            price=line.price,
            amount=-line.amount,
            tax_kind=line.tax_kind,
            tax_rate=line.tax_rate,
            tax_reason=line.tax_reason,
        )
        for line in invoice.lines.all()
    ]
    totals = money.totals(
        [line.as_money() for line in lines],
        places=invoice.written_in(shop).places,
        prices_include_tax=invoice.prices_include_tax,
    )
    note = _numbered(
        Invoice(
            kind=Invoice.Kind.CREDIT_NOTE,
            credits=invoice,
            job=invoice.job,
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
            # Whoever got the bill as an e-invoice gets this the same way.
            einvoice=invoice.einvoice or _asked_for_later(invoice),
        ),
        totals=totals,
        shop=shop,
        on=on,
        by=by,
    )
    _keep(note, lines=lines, totals=totals, job=invoice.job, shop=shop, at=at)
    return note


def _asked_for_later(invoice: Invoice) -> str:
    has_file = EInvoice.objects.filter(invoice=invoice).exists()
    return Customer.EInvoice.UBL if has_file else Customer.EInvoice.NONE
