"""What happens to bills, their numbers and the money on them at once."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from hashlib import sha256
from uuid import UUID

from django.db import transaction

from billing.invoices.credit_sums import credit_sums
from billing.invoices.models import EInvoice, Invoice, InvoiceLine
from billing.invoices.papers import invoice_paper, ubl_file
from billing.invoices.payments.actions import (
    book,
    check_amount,
    handed_over,
    move,
    pay,
)
from billing.invoices.payments.coins import Handed
from billing.invoices.queries import Bill, bill_of, owed_back_on
from billing.invoices.refusals import Refused
from billing.pricing.shares import net_shares
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.papers.render import document_language
from shopdesk.shop import numbering
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import shop_text

__all__ = [
    "Buyer",
    "Refused",
    "buyer_of",
    "check_billable",
    "credit",
    "issue",
    "keep_ubl",
    "pay",
    "promised",
]


@dataclass(frozen=True)
class Buyer:
    """Who stands on the bill, where it is not the customer as the book has them."""

    name: str
    address: str
    country: str
    tax_id: str = ""


def buyer_of(customer: Customer, shop: Shop) -> Buyer:
    """The customer as the bill names them."""
    return Buyer(
        name=", ".join(filter(None, [customer.company, customer.name])),
        address=customer.address,
        country=customer.country or shop.country,
        tax_id=customer.tax_id,
    )


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
    buyer: Buyer | None = None,
) -> Invoice:
    """Bill a finished job; use up its deposits, and book what is paid at once.

    The number is taken in this transaction: where anything fails no number is lost. A
    job whose bill was taken back is billed again in the same way.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    check_billable(job)
    shop = Shop.current()
    supplied_on = job.handed_over_on or on
    bill = bill_of(job, on=supplied_on, shop=shop)
    money = _paid_with_it(bill, paid=paid, means=means, shop=shop)
    covered = job.repairs.filter(warranty_until__isnull=False).exists()
    customer = job.customer
    buyer = buyer or buyer_of(customer, shop)
    invoice = _numbered(
        Invoice(
            job=job,
            quote=bill.quote,
            customer=customer,
            buyer_name=buyer.name,
            buyer_address=buyer.address,
            buyer_tax_id=buyer.tax_id,
            buyer_country=buyer.country,
            supplied_on=supplied_on,
            due_on=on + timedelta(days=shop.payment_term_days),
            currency=bill.currency,
            prices_include_tax=bill.prices_include_tax,
            words=promised(shop) if covered else "",
            deposited=bill.used,
            paid_with_it=money.amount,
            rounding=money.rounding,
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
        bill=bill,
    )
    _use_up(job, invoice, on=on, at=at, by=by)
    if paid:
        book(
            job,
            invoice=invoice,
            money=money,
            currency=bill.currency,
            means=means,
            key=key,
            on=on,
            at=at,
            by=by,
        )
    _say_what_was_charged(job)
    return invoice


def promised(shop: Shop) -> str:
    """What ends the cover, as it stands on the bill."""
    with document_language(shop):
        return shop_text(shop, "warranty_text")


def check_billable(job: Job) -> None:
    """Refuse a job that is not done, or that a standing bill was made of."""
    if job.state not in (states.READY, states.HANDED_OVER):
        raise Refused(
            f"Job {job.number} is {job.get_state_display()}: it is billed when the work"
            " is done."
        )
    if job.invoices.standing().exists():
        raise Refused(f"Job {job.number} is billed already.")


def _paid_with_it(bill: Bill, *, paid: Decimal, means: str, shop: Shop) -> Handed:
    if not paid:
        return Handed(Decimal(0), Decimal(0))
    if paid < 0:
        raise Refused("Nothing can be paid back before it is billed.")
    money = handed_over(
        paid, left=bill.left, means=means, currency=bill.currency, shop=shop
    )
    check_amount(money, left=bill.left, currency=bill.currency, shop=shop)
    return money


def _use_up(job: Job, invoice: Invoice, *, on: date, at: datetime, by) -> None:
    """Move what is here for the job to its bill; what is over stays owed back."""
    left = invoice.deposited
    for source, here in owed_back_on(job, currency=invoice.currency):
        if amount := min(left, here):
            move(job, amount=amount, source=source, to=invoice, on=on, at=at, by=by)
            left -= amount


def _numbered(
    invoice: Invoice, *, totals: money.Totals, shop: Shop, on: date, by
) -> Invoice:
    pattern = shop.credit_series if invoice.is_credit_note else shop.invoice_series
    invoice.series = numbering.series_name(pattern, on=on)
    invoice.number = numbering.give(invoice.series, kind=invoice.kind)
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
    invoice.keep(invoice_paper(invoice, lines=lines, made_at=at, **paper))
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


def _say_what_was_charged(job: Job) -> None:
    """Each repair learns what it brought in before tax, less what was taken back."""
    repairs = list(job.repairs.filter(outcome=states.FIXED))
    charged = dict.fromkeys([repair.pk for repair in repairs], Decimal(0))
    for invoice in job.invoices.filter(kind=Invoice.Kind.INVOICE).defer("paper"):
        lines = invoice.standing_lines()
        places = Currency(invoice.currency, "").places
        stands = money.totals(
            [line.as_money() for line in lines],
            places=places,
            prices_include_tax=invoice.prices_include_tax,
        )
        shares = net_shares(
            [(line.repair_id, line.as_money()) for line in lines],
            repairs=list(charged),
            net=stands.net,
            places=places,
            prices_include_tax=invoice.prices_include_tax,
        )
        for repair, share in shares.items():
            charged[repair] += share
    for repair in repairs:
        repair.charged = max(charged[repair.pk], Decimal(0))
        repair.save(update_fields=["charged"])


@transaction.atomic
def credit(
    invoice: Invoice,
    *,
    why: str,
    on: date,
    at: datetime,
    by,
    back: dict[int, Decimal] | None = None,
) -> Invoice:
    """Take an invoice back by a credit note, in a series of its own.

    `back` says how much of which line (by its key); without it all that still stands
    is taken back.
    """
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("paper").get(pk=invoice.pk)
    if invoice.is_credit_note:
        raise Refused("A credit note can't be credited.")
    if invoice.credit_notes.filter(is_whole=True).exists():
        raise Refused(f"{invoice.full_number} was credited already.")
    shop = Shop.current()
    stood = invoice.standing_lines()
    gone = [line.quantity if back is None else _of_line(line, back) for line in stood]
    if back is not None and not any(gone):
        raise Refused("Say how much of which line is taken back.")
    totals = credit_sums(
        [line.as_money() for line in stood],
        back=gone,
        places=invoice.written_in(shop).places,
        prices_include_tax=invoice.prices_include_tax,
    )
    _check_note(invoice, totals)
    lines = [
        _line_back(line, quantity)
        for line, quantity in zip(stood, gone, strict=True)
        if quantity
    ]
    for line, amount in zip(lines, totals.lines, strict=True):
        line.amount = amount
    note = _numbered(
        Invoice(
            kind=Invoice.Kind.CREDIT_NOTE,
            credits=invoice,
            is_whole=all(
                line.quantity == quantity
                for line, quantity in zip(stood, gone, strict=True)
            ),
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
            # Whoever got the bill as an e-invoice gets this the same way.
            einvoice=invoice.einvoice or _asked_for_later(invoice),
        ),
        totals=totals,
        shop=shop,
        on=on,
        by=by,
    )
    _keep(note, lines=lines, totals=totals, job=job, shop=shop, at=at)
    _say_what_was_charged(job)
    return note


def _of_line(line: InvoiceLine, back: dict[int, Decimal]) -> Decimal:
    """How much of a line is taken back; never more than stands, nor the other way."""
    asked = back.get(line.pk, Decimal(0))
    if not min(Decimal(0), line.quantity) <= asked <= max(Decimal(0), line.quantity):
        raise Refused(
            f"Of “{line.text}” only {line.quantity.normalize():f} can be taken back."
        )
    return asked


def _check_note(invoice: Invoice, totals: money.Totals) -> None:
    """No part of a note gives more than its bill asked, nor asks for anything."""
    left = invoice.gross - sum(
        (-note.gross for note in invoice.credit_notes.only("gross")), Decimal(0)
    )
    if totals.gross > 0 or -totals.gross > left or totals.net > 0 or totals.tax > 0:
        raise Refused(
            "That would take back more than the bill comes to: take back the lines that"
            " lower it, too."
        )


def _line_back(line: InvoiceLine, quantity: Decimal) -> InvoiceLine:
    return InvoiceLine(
        position=line.position,
        kind=line.kind,
        text=line.text,
        quantity=-quantity,
        price=line.price,
        tax_kind=line.tax_kind,
        tax_rate=line.tax_rate,
        tax_reason=line.tax_reason,
        repair_id=line.repair_id,
        takes_back=line,
    )


def _asked_for_later(invoice: Invoice) -> str:
    has_file = EInvoice.objects.filter(invoice=invoice).exists()
    return Customer.EInvoice.UBL if has_file else Customer.EInvoice.NONE
