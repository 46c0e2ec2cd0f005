"""Money in and money back: on a bill, and on a job before it is billed.

The job is always locked first, so that all that happens to its money happens in turn.
"""

from datetime import date, datetime
from decimal import Decimal
from uuid import UUID, uuid4

from django.db import transaction

from billing.day_close.models import open_day
from billing.invoices.models import MEANS, MOVED, Invoice, Payment, Receipt
from billing.invoices.payments.coins import CashRoundingError, Handed, handed, in_coins
from billing.invoices.payments.papers import receipt_paper
from billing.invoices.queries import agreed_total, deposits_of
from billing.invoices.refusals import Refused
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.shop import numbering
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import day
from shopdesk.templatetags.desk import money as in_words


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
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("paper").get(pk=invoice.pk)
    known = known_payment(key, job=job, invoice=invoice)
    if known:
        return known
    if invoice.is_credit_note:
        raise Refused("Pay back on the invoice that the credit note takes back.")
    shop = Shop.current()
    left = invoice.balance
    money = handed_over(
        amount, left=left, means=means, currency=invoice.currency, shop=shop
    )
    check_amount(money, left=left, currency=invoice.currency, shop=shop)
    return book(
        job,
        invoice=invoice,
        money=money,
        currency=invoice.currency,
        means=means,
        key=key,
        on=on,
        at=at,
        by=by,
    )


@transaction.atomic
def deposit(
    job: Job, *, amount: Decimal, means: str, key: UUID, on: date, at: datetime, by
) -> Payment:
    """Money on a job that is not billed yet, with its receipt; a negative `amount` is
    paid back of it. The same `key` is one payment."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    known = known_payment(key, job=job, invoice=None)
    if known:
        return known
    shop = Shop.current()
    here, currency = deposits_of(job)
    currency = currency or shop.currency
    if amount < 0:
        what = "Money back from the deposit"
        if -amount > here:
            raise Refused(
                f"Only {said(here, currency, shop)} of deposits is here: pay back no"
                " more than that."
                if here > 0
                else "There is no deposit here to pay back."
            )
    else:
        what = "Deposit"
        _check_deposit(job, amount, here=here, currency=currency, shop=shop)
    left = -here if amount < 0 else Decimal(0)
    money = handed_over(amount, left=left, means=means, currency=currency, shop=shop)
    payment = book(
        job,
        invoice=None,
        money=money,
        currency=currency,
        means=means,
        key=key,
        on=on,
        at=at,
        by=by,
        words=what,
    )
    keep_receipt(payment, at=at)
    return payment


def _check_deposit(
    job: Job, amount: Decimal, *, here: Decimal, currency: str, shop: Shop
) -> None:
    if job.invoices.standing().exists():
        raise Refused(
            f"Job {job.number} is billed already: take the money on its bill."
        )
    if job.state == states.HANDED_OVER:
        raise Refused(f"Job {job.number} was handed back: there is nothing to come.")
    if currency != shop.currency:
        raise Refused(
            f"A deposit in {currency} is here already and the shop now takes"
            f" {shop.currency}: pay that one back first."
        )
    most = agreed_total(job, shop=shop)
    if most is None or amount + here <= most:
        return
    if not most:
        raise Refused("This job is under cover and costs nothing: take no deposit.")
    besides = f" and {said(here, currency, shop)} is here already" if here else ""
    raise Refused(
        f"The price agreed is {said(most, currency, shop)}{besides}: take no more than"
        f" {said(max(most - here, Decimal(0)), currency, shop)}."
    )


def known_payment(key: UUID, *, job: Job, invoice: Invoice | None) -> Payment | None:
    """The payment that this form made already; a form of something else is refused."""
    known = Payment.objects.filter(key=key).first()
    if known and (known.job_id != job.pk or (known.invoice != invoice)):
        raise Refused("This form was used for another bill: open the page again.")
    return known


def handed_over(
    amount: Decimal, *, left: Decimal, means: str, currency: str, shop: Shop
) -> Handed:
    """What changes hands for `amount`, rounded to coins where it is cash."""
    if means not in dict(MEANS):
        raise Refused("Say how it is paid: in cash, by card or by bank transfer.")
    if means != "cash":
        return Handed(amount, Decimal(0))
    step = cash_step(currency, shop)
    places = Currency(currency, shop.locale).places
    try:
        return handed(amount, left=left, step=step, places=places)
    except CashRoundingError:
        near = in_coins(amount, step=step, places=places)
        raise Refused(
            f"Cash goes in steps of {said(step, currency, shop)}: that would be"
            f" {said(abs(near), currency, shop)}."
        ) from None


def cash_step(currency: str, shop: Shop) -> Decimal:
    """The least coin; the shop's step is of its own currency and of no other."""
    return shop.cash_step if currency == shop.currency else Decimal(0)


def cash_of(left: Decimal, *, currency: str, shop: Shop) -> Decimal:
    """What `left` comes to in cash."""
    step = cash_step(currency, shop)
    return in_coins(left, step=step, places=Currency(currency, shop.locale).places)


def written_down(payment: Payment, shop: Shop) -> str:
    """What the desk is told of a payment it has just made."""
    amount = said(abs(payment.amount), payment.currency, shop)
    done = "paid back" if payment.settles < 0 else "taken"
    told = [f"{amount} {done}, {payment.get_means_display()}."]
    if payment.rounding:
        off = said(abs(payment.settles), payment.currency, shop)
        told.append(f"Rounded to coins: it settles {off}.")
    if payment.booked_on != payment.paid_on:
        told.append(
            f"The till of today is closed already, so it counts on"
            f" {day(payment.booked_on)}."
        )
    return " ".join(told)


def check_amount(money: Handed, *, left: Decimal, currency: str, shop: Shop) -> None:
    """Refuse more than is left to pay, and more back than is owed."""
    off = money.amount + money.rounding
    if not off:
        raise Refused("Write how much is paid.")
    if off > 0 and off > left:
        raise Refused(too_much(left, currency, shop))
    if off < 0 and off < left:
        owed = f": that is {said(-left, currency, shop)}" if left < 0 else ""
        raise Refused(
            f"No more can be paid back than the shop owes on this bill{owed}."
        )


def too_much(left: Decimal, currency: str, shop: Shop) -> str:
    if left <= 0:
        return "Nothing is left to pay on this bill."
    return f"Only {said(left, currency, shop)} is left to pay: take no more than that."


def said(amount: Decimal, currency: str, shop: Shop) -> str:
    """The amount as the shop writes it, for a sentence."""
    return in_words(amount, Currency(currency, shop.locale))


def book(
    job: Job,
    *,
    invoice: Invoice | None,
    money: Handed,
    currency: str,
    means: str,
    on: date,
    at: datetime,
    by,
    key: UUID | None = None,
    words: str = "",
) -> Payment:
    """Write a payment down on the first day of the till that is still open."""
    return Payment.objects.create(
        job=job,
        invoice=invoice,
        amount=money.amount,
        rounding=money.rounding,
        currency=currency,
        means=means,
        key=key or uuid4(),
        words=words,
        paid_on=on,
        booked_on=open_day(on),
        taken_at=at,
        taken_by=by,
    )


def move(
    job: Job,
    *,
    amount: Decimal,
    source: Invoice | None,
    to: Invoice,
    on: date,
    at: datetime,
    by,
) -> None:
    """Money that is here already goes to the bill `to`; the till does not change."""
    came_from = f"from {source.full_number}" if source else "from the deposit"
    for invoice, sum_, words in (
        (source, -amount, f"to {to.full_number}"),
        (to, amount, came_from),
    ):
        book(
            job,
            invoice=invoice,
            money=Handed(sum_, Decimal(0)),
            currency=to.currency,
            means=MOVED,
            on=on,
            at=at,
            by=by,
            words=words,
        )


@transaction.atomic
def keep_receipt(payment: Payment, *, at: datetime) -> Receipt:
    """The receipt of a payment: made when it is first asked for, then the one kept."""
    job = Job.objects.select_for_update().get(pk=payment.job_id)
    known = Receipt.objects.filter(payment=payment).first()
    if known:
        return known
    if payment.means not in dict(MEANS):
        raise Refused("That was only written down: no money was handed over.")
    receipt = Receipt(payment=payment, series=f"R{payment.paid_on:%y}")
    # A name of its own, which no series of bills can have.
    receipt.number = numbering.give(f"receipt {payment.paid_on.year}")
    shop = Shop.current()
    receipt.keep(
        receipt_paper(receipt, payment=payment, job=job, shop=shop, made_at=at)
    )
    receipt.save(force_insert=True)
    return receipt
