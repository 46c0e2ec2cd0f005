"""Payments and refunds, on an invoice or on a job before it is invoiced.

The job is always locked first, so that its payments happen one after another.
"""

from decimal import Decimal
from uuid import UUID, uuid4

from django.db import transaction
from django.utils.translation import gettext

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
from shopdesk.papers.render import document_language
from shopdesk.shop import numbering
from shopdesk.shop.currencies import Currency, places
from shopdesk.shop.models import Shop
from shopdesk.shop.setting_up import check_set_up
from shopdesk.stamp import Stamp


@transaction.atomic
def record_payment(
    invoice: Invoice, *, amount: Decimal, means: str, key: UUID, stamp: Stamp
) -> Payment:
    """Record a payment on an invoice; a negative `amount` is a refund.

    Calls with the same `key` are one payment.
    """
    # The lock keeps two payments apart, so that together they cannot exceed the
    # balance.
    job = Job.objects.select_for_update().get(pk=invoice.job_id)
    invoice = Invoice.objects.defer("pdf").get(pk=invoice.pk)
    if duplicate := _find_duplicate(key, job=job, invoice=invoice):
        return duplicate
    if invoice.is_credit_note:
        raise RefusedError(gettext("Record the refund on the credited invoice."))
    money = checked_amount(
        amount,
        due=invoice.balance,
        means=means,
        currency=invoice.currency,
        shop=Shop.current(),
    )
    return create_payment(
        money,
        job=job,
        invoice=invoice,
        currency=invoice.currency,
        means=means,
        key=key,
        stamp=stamp,
    )


@transaction.atomic
def record_deposit(
    job: Job, *, amount: Decimal, means: str, key: UUID, stamp: Stamp
) -> Payment:
    """Record a deposit on a job that is not invoiced yet, with its receipt.

    A negative `amount` is a refund of it. Calls with the same `key` are one payment.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    if duplicate := _find_duplicate(key, job=job, invoice=None):
        return duplicate
    shop = Shop.current()
    check_set_up(shop)
    deposit, currency = deposits_of(job)
    currency = currency or shop.currency
    is_refund = amount < 0
    check = _check_refund if is_refund else _check_deposit
    check(job, abs(amount), deposit=deposit, currency=currency, shop=shop)
    money = _cash_amount(
        amount,
        due=-deposit if is_refund else Decimal(0),
        means=means,
        currency=currency,
        shop=shop,
    )
    with document_language(shop):
        text = gettext("Deposit refund") if is_refund else gettext("Deposit")
    payment = create_payment(
        money,
        job=job,
        currency=currency,
        means=means,
        key=key,
        text=text,
        stamp=stamp,
    )
    store_receipt(payment, stamp=stamp)
    return payment


def _check_refund(
    job: Job, amount: Decimal, *, deposit: Decimal, currency: str, shop: Shop
) -> None:
    if deposit <= 0:
        raise RefusedError(gettext("There is no deposit to refund."))
    if amount > deposit:
        raise RefusedError(
            gettext("The deposit held is {amount}. Enter at most that.").format(
                amount=amount_text(deposit, currency, shop)
            )
        )


def _check_deposit(
    job: Job, amount: Decimal, *, deposit: Decimal, currency: str, shop: Shop
) -> None:
    if job.invoices.in_force().exists():
        raise RefusedError(
            gettext(
                "Job {number} already has an invoice. Record the payment there."
            ).format(number=job.number)
        )
    if job.state == states.HANDED_OVER:
        raise RefusedError(
            gettext(
                "Job {number} was handed over. Create an invoice to record a payment."
            ).format(number=job.number)
        )
    if currency != shop.currency:
        raise RefusedError(
            gettext(
                "A deposit in {currency} is held, and the shop’s currency is"
                " now {shop_currency}. Refund it first."
            ).format(currency=currency, shop_currency=shop.currency)
        )
    agreed = agreed_price(job, shop=shop)
    if agreed is None or amount + deposit <= agreed:
        return
    if not agreed:
        raise RefusedError(
            gettext("This is a warranty repair free of charge. No deposit is needed.")
        )
    limit = (
        gettext(
            "The agreed price is {agreed}, and {held} is already held. Enter at most"
            " {most}."
        )
        if deposit
        else gettext("The agreed price is {agreed}. Enter at most {most}.")
    )
    raise RefusedError(
        limit.format(
            agreed=amount_text(agreed, currency, shop),
            held=amount_text(deposit, currency, shop),
            most=amount_text(max(agreed - deposit, Decimal(0)), currency, shop),
        )
    )


def _find_duplicate(key: UUID, *, job: Job, invoice: Invoice | None) -> Payment | None:
    """Return the payment that this form made before; raise if it was for something
    else.
    """
    stored = Payment.objects.filter(key=key).first()
    if stored and (stored.job_id != job.pk or stored.invoice != invoice):
        raise RefusedError(gettext("This form was already used. Reload the page."))
    return stored


def checked_amount(
    amount: Decimal, *, due: Decimal, means: str, currency: str, shop: Shop
) -> CashAmount:
    """Return the amount that changes hands, never more than is due either way."""
    money = _cash_amount(amount, due=due, means=means, currency=currency, shop=shop)
    settles = money.settles
    if not settles:
        raise RefusedError(gettext("Enter an amount."))
    if settles > 0 and settles > due:
        raise RefusedError(
            gettext("The balance due is {amount}. Enter at most that.").format(
                amount=amount_text(due, currency, shop)
            )
            if due > 0
            else gettext("There is no balance due on this invoice.")
        )
    if settles < 0 and settles < due:
        raise RefusedError(
            gettext(
                "The refund exceeds the credit of {credit} on this invoice."
            ).format(credit=amount_text(-due, currency, shop))
            if due < 0
            else gettext("The refund exceeds the credit on this invoice.")
        )
    return money


def _cash_amount(
    amount: Decimal, *, due: Decimal, means: str, currency: str, shop: Shop
) -> CashAmount:
    """Return the amount that changes hands, rounded to coins if it is cash."""
    if means not in dict(MEANS):
        raise RefusedError(
            gettext("Select a payment method: cash, card or bank transfer.")
        )
    if means != "cash":
        return CashAmount(amount)
    step = _cash_step(currency, shop)
    try:
        return pay_in_coins(amount, due=due, step=step, places=places(currency))
    except CashRoundingError:
        nearest = abs(due_in_cash(amount, currency=currency, shop=shop))
        raise RefusedError(
            gettext(
                "Cash amounts must be multiples of {step}. The nearest is {nearest}."
            ).format(
                step=amount_text(step, currency, shop),
                nearest=amount_text(nearest, currency, shop),
            )
        ) from None


def _cash_step(currency: str, shop: Shop) -> Decimal:
    """Return the smallest coin; the shop's setting is for its own currency only."""
    return shop.cash_step if currency == shop.currency else Decimal(0)


def due_in_cash(due: Decimal, *, currency: str, shop: Shop) -> Decimal:
    """Return `due` rounded to coins."""
    step = _cash_step(currency, shop)
    return round_to_coins(due, step=step, places=places(currency))


def amount_text(amount: Decimal, currency: str, shop: Shop) -> str:
    """Return the amount as the shop writes it."""
    return format_money(amount, Currency(currency, shop.locale))


def payment_message(payment: Payment, shop: Shop) -> str:
    """Return the message that staff see after recording a payment."""
    written_in = payment.written_in(shop)
    amount = format_money(abs(payment.amount), written_in)
    done = (
        gettext("{amount} refunded, {means}.")
        if payment.settles < 0
        else gettext("{amount} received, {means}.")
    )
    sentences = [done.format(amount=amount, means=payment.get_means_display())]
    if payment.rounding:
        settled = format_money(abs(payment.settles), written_in)
        sentences.append(
            gettext("Cash rounding applied: it settles {settled}.").format(
                settled=settled
            )
        )
    if payment.booked_on != payment.paid_on:
        sentences.append(
            gettext("Today’s till is closed: it is recorded for {day}.").format(
                day=day(payment.booked_on)
            )
        )
    return " ".join(sentences)


def create_payment(
    money: CashAmount, *, stamp: Stamp, key: UUID | None = None, **fields
) -> Payment:
    """Record a payment on the first day of the till that is still open.

    `fields` are those of `Payment`: job, invoice, currency, means and text.
    """
    return Payment.objects.create(
        amount=money.amount,
        rounding=money.rounding,
        key=key or uuid4(),
        paid_on=stamp.on,
        booked_on=booking_date(stamp.on),
        taken_at=stamp.at,
        taken_by=stamp.by,
        **fields,
    )


def transfer_deposit(
    amount: Decimal, *, source: Invoice | None, to: Invoice, stamp: Stamp
) -> None:
    """Transfer credit to the invoice `to`; the till does not change."""
    with document_language(Shop.current()):
        gone_to = gettext("to {number}").format(number=to.full_number)
        came_from = (
            gettext("from {number}").format(number=source.full_number)
            if source
            else gettext("from the deposit")
        )
    for invoice, transferred, text in (
        (source, -amount, gone_to),
        (to, amount, came_from),
    ):
        create_payment(
            CashAmount(transferred),
            job=to.job,
            invoice=invoice,
            currency=to.currency,
            means=MOVED,
            text=text,
            stamp=stamp,
        )


@transaction.atomic
def store_receipt(payment: Payment, *, stamp: Stamp) -> Receipt:
    """Return the receipt of a payment, created when first requested, then stored."""
    job = Job.objects.select_for_update().get(pk=payment.job_id)
    if stored := Receipt.objects.filter(payment=payment).first():
        return stored
    if payment.means not in dict(MEANS):
        raise RefusedError(
            gettext("There is no receipt for this entry: no money changed hands.")
        )
    receipt = Receipt(payment=payment, series=f"R{payment.paid_on:%y}")
    # A series name that no document prefix can produce.
    receipt.number = numbering.give(f"receipt {payment.paid_on.year}", on=stamp.on)
    receipt.keep(receipt_paper(receipt, job=job, shop=Shop.current(), made_at=stamp.at))
    receipt.save(force_insert=True)
    return receipt
