"""Money in and out: on an invoice, and on a job before it is invoiced.

The job is always locked first, so that all that happens to its money happens in turn.
"""

from decimal import Decimal
from uuid import UUID, uuid4

from django.db import transaction

from billing.invoices.balance import deposits_of
from billing.invoices.coins import (
    CashAmount,
    CashRoundingError,
    pay_in_coins,
    round_to_coins,
)
from billing.invoices.draft import agreed_price
from billing.invoices.models import (
    MEANS,
    MOVED,
    Invoice,
    Payment,
    Receipt,
    booking_date,
)
from billing.invoices.papers import receipt_paper
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day
from shopdesk.look.shop_formats import money as format_money
from shopdesk.shop import numbering
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def record_payment(
    invoice: Invoice,
    *,
    amount: Decimal,
    means: str,
    key: UUID,
    stamp: Stamp,
) -> Payment:
    """Money in; a negative `amount` is a refund. The same `key` is one payment."""
    # The lock keeps two payments apart, so that together they can't be too much.
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("pdf").get(pk=invoice.pk)
    if duplicate := _find_duplicate(key, job=job, invoice=invoice):
        return duplicate
    if invoice.is_credit_note:
        raise RefusedError("Record the refund on the credited invoice.")
    money = checked_amount(
        amount,
        due=invoice.balance,
        means=means,
        currency=invoice.currency,
        shop=Shop.current(),
    )
    return create_payment(
        job,
        invoice=invoice,
        money=money,
        currency=invoice.currency,
        means=means,
        key=key,
        stamp=stamp,
    )


@transaction.atomic
def record_deposit(
    job: Job, *, amount: Decimal, means: str, key: UUID, stamp: Stamp
) -> Payment:
    """Money on a job that is not invoiced yet, with its receipt.

    A negative `amount` is a refund of it. The same `key` is one payment.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    if duplicate := _find_duplicate(key, job=job, invoice=None):
        return duplicate
    shop = Shop.current()
    here, currency = deposits_of(job)
    currency = currency or shop.currency
    if amount < 0:
        _check_refund(-amount, here=here, currency=currency, shop=shop)
    else:
        _check_deposit(job, amount, here=here, currency=currency, shop=shop)
    money = _in_cash_or_not(
        amount,
        due=-here if amount < 0 else Decimal(0),
        means=means,
        currency=currency,
        shop=shop,
    )
    payment = create_payment(
        job,
        invoice=None,
        money=money,
        currency=currency,
        means=means,
        key=key,
        stamp=stamp,
        words="Deposit refund" if amount < 0 else "Deposit",
    )
    store_receipt(payment, stamp=stamp)
    return payment


def _check_refund(amount: Decimal, *, here: Decimal, currency: str, shop: Shop) -> None:
    if here <= 0:
        raise RefusedError("There is no deposit to refund.")
    if amount > here:
        raise RefusedError(
            f"The deposit held is {amount_text(here, currency, shop)}. Enter at most"
            " that."
        )


def _check_deposit(
    job: Job, amount: Decimal, *, here: Decimal, currency: str, shop: Shop
) -> None:
    if job.invoices.standing().exists():
        raise RefusedError(
            f"Job {job.number} already has an invoice. Record the payment there."
        )
    if job.state == states.HANDED_OVER:
        raise RefusedError(
            f"Job {job.number} was handed over. No deposit can be taken."
        )
    if currency != shop.currency:
        raise RefusedError(
            f"A deposit in {currency} is held, and the shop’s currency is now"
            f" {shop.currency}. Refund it first."
        )
    agreed = agreed_price(job, shop=shop)
    if agreed is None or amount + here <= agreed:
        return
    if not agreed:
        raise RefusedError(
            "This is a warranty repair free of charge. No deposit is needed."
        )
    held = amount_text(here, currency, shop)
    besides = f", and {held} is already held" if here else ""
    raise RefusedError(
        f"The agreed price is {amount_text(agreed, currency, shop)}{besides}. Enter at"
        f" most {amount_text(max(agreed - here, Decimal(0)), currency, shop)}."
    )


def _find_duplicate(key: UUID, *, job: Job, invoice: Invoice | None) -> Payment | None:
    """The payment that this form made already; a form of something else is refused."""
    stored = Payment.objects.filter(key=key).first()
    if stored and (stored.job_id != job.pk or stored.invoice != invoice):
        raise RefusedError("This form was already used. Reload the page.")
    return stored


def checked_amount(
    amount: Decimal, *, due: Decimal, means: str, currency: str, shop: Shop
) -> CashAmount:
    """What changes hands for `amount`; never more than is due, either way."""
    money = _in_cash_or_not(amount, due=due, means=means, currency=currency, shop=shop)
    settles = money.settles
    if not settles:
        raise RefusedError("Enter an amount.")
    if settles > 0 and settles > due:
        raise RefusedError(_overpayment_error(due, currency, shop))
    if settles < 0 and settles < due:
        credit = f" of {amount_text(-due, currency, shop)}" if due < 0 else ""
        raise RefusedError(f"The refund exceeds the credit{credit} on this invoice.")
    return money


def _overpayment_error(due: Decimal, currency: str, shop: Shop) -> str:
    if due <= 0:
        return "There is no balance due on this invoice."
    return f"The balance due is {amount_text(due, currency, shop)}. Enter at most that."


def _in_cash_or_not(
    amount: Decimal, *, due: Decimal, means: str, currency: str, shop: Shop
) -> CashAmount:
    """What changes hands for `amount`, rounded to coins where it is cash."""
    if means not in dict(MEANS):
        raise RefusedError("Select a payment method: cash, card or bank transfer.")
    if means != "cash":
        return CashAmount(amount, Decimal(0))
    step = _cash_step(currency, shop)
    places = Currency(currency, shop.locale).places
    try:
        return pay_in_coins(amount, due=due, step=step, places=places)
    except CashRoundingError:
        near = abs(round_to_coins(amount, step=step, places=places))
        raise RefusedError(
            f"Cash amounts must be multiples of {amount_text(step, currency, shop)}."
            f" The nearest is {amount_text(near, currency, shop)}."
        ) from None


def _cash_step(currency: str, shop: Shop) -> Decimal:
    """The smallest coin; the shop's step is of its own currency and of no other."""
    return shop.cash_step if currency == shop.currency else Decimal(0)


def due_in_cash(due: Decimal, *, currency: str, shop: Shop) -> Decimal:
    """What `due` comes to in coins."""
    step = _cash_step(currency, shop)
    return round_to_coins(due, step=step, places=Currency(currency, shop.locale).places)


def amount_text(amount: Decimal, currency: str, shop: Shop) -> str:
    """The amount as the shop writes it, for a sentence."""
    return format_money(amount, Currency(currency, shop.locale))


def payment_message(payment: Payment, shop: Shop) -> str:
    """What the desk reads of a payment it has just recorded."""
    amount = amount_text(abs(payment.amount), payment.currency, shop)
    done = "refunded" if payment.settles < 0 else "received"
    sentences = [f"{amount} {done}, {payment.get_means_display()}."]
    if payment.rounding:
        settled = amount_text(abs(payment.settles), payment.currency, shop)
        sentences.append(f"Cash rounding applied: it settles {settled}.")
    if payment.booked_on != payment.paid_on:
        sentences.append(
            f"Today’s till is closed: it is recorded for {day(payment.booked_on)}."
        )
    return " ".join(sentences)


def create_payment(
    job: Job,
    *,
    invoice: Invoice | None,
    money: CashAmount,
    currency: str,
    means: str,
    stamp: Stamp,
    key: UUID | None = None,
    words: str = "",
) -> Payment:
    """Record a payment on the first day of the till that is still open."""
    return Payment.objects.create(
        job=job,
        invoice=invoice,
        amount=money.amount,
        rounding=money.rounding,
        currency=currency,
        means=means,
        key=key or uuid4(),
        words=words,
        paid_on=stamp.on,
        booked_on=booking_date(stamp.on),
        taken_at=stamp.at,
        taken_by=stamp.by,
    )


def transfer_deposit(
    amount: Decimal,
    *,
    source: Invoice | None,
    to: Invoice,
    stamp: Stamp,
) -> None:
    """Money that is here already goes to the invoice `to`; the till does not change."""
    came_from = f"from {source.full_number}" if source else "from the deposit"
    for invoice, transferred, words in (
        (source, -amount, f"to {to.full_number}"),
        (to, amount, came_from),
    ):
        create_payment(
            to.job,
            invoice=invoice,
            money=CashAmount(transferred, Decimal(0)),
            currency=to.currency,
            means=MOVED,
            stamp=stamp,
            words=words,
        )


@transaction.atomic
def store_receipt(payment: Payment, *, stamp: Stamp) -> Receipt:
    """The receipt of a payment: made when first asked for, then the one stored."""
    job = Job.objects.select_for_update().get(pk=payment.job_id)
    if stored := Receipt.objects.filter(payment=payment).first():
        return stored
    if payment.means not in dict(MEANS):
        raise RefusedError(
            "There is no receipt for this entry: no money changed hands."
        )
    receipt = Receipt(payment=payment, series=f"R{payment.paid_on:%y}")
    # A name of its own, which no series of invoices can have.
    receipt.number = numbering.give(f"receipt {payment.paid_on.year}")
    receipt.keep(receipt_paper(receipt, job=job, shop=Shop.current(), made_at=stamp.at))
    receipt.save(force_insert=True)
    return receipt
