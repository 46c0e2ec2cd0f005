"""The takings of the days that one closing covers, by payment method."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Min, Q, Sum

from billing.invoices.models import MEANS, DayClose, Payment
from shopdesk import money
from shopdesk.look.shop_formats import moment
from shopdesk.shop.models import Shop

HEADS = (
    *("counts_on", "paid_on", "taken_at", "job", "invoice", "receipt"),
    *("what", "how", "amount", "rounding", "currency", "taken_by"),
)
SUMS = ("invoices", "deposits", "refunds", "cash_rounding", "count")


@dataclass(frozen=True)
class MethodTotals:
    """Payments on invoices, deposits, and refunds (negative) by one payment method."""

    means: str
    label: str
    invoices: Decimal = Decimal(0)
    deposits: Decimal = Decimal(0)
    refunds: Decimal = Decimal(0)
    cash_rounding: Decimal = Decimal(0)
    count: int = 0

    @property
    def total(self) -> Decimal:
        """Return the money received less refunds; cash rounding is not money."""
        return self.invoices + self.deposits + self.refunds


def grand_total(rows: list[MethodTotals]) -> MethodTotals:
    """Return the sum of all payment methods."""
    sums = {name: sum(getattr(row, name) for row in rows) for name in SUMS}
    return MethodTotals("", "Total", **sums)


def payments_of(since: date, until: date):
    """Return the payments recorded for these days, without transfers."""
    payments = Payment.objects.over_the_counter().for_list().select_related("job")
    return payments.filter(booked_on__range=(since, until)).order_by("id")


def takings(since: date, until: date, *, currency: str) -> list[MethodTotals]:
    """Return the takings of these days in a currency, one row per payment method."""

    def total(field: str, **only):
        return Sum(field, filter=Q(**only), default=Decimal(0))

    payments = payments_of(since, until).filter(currency=currency).order_by()
    sums = payments.values("means").annotate(
        invoices=total("amount", invoice__isnull=False, amount__gt=0),
        deposits=total("amount", invoice__isnull=True, amount__gt=0),
        refunds=total("amount", amount__lt=0),
        cash_rounding=total("rounding"),
        count=Count("id"),
    )
    found = {row["means"]: row for row in sums}
    return [
        MethodTotals(**{"means": means, "label": label, **found.get(means, {})})
        for means, label in MEANS
    ]


def open_till(*, day: date, shop: Shop) -> tuple[DayClose, list[MethodTotals]]:
    """Return the closing of `day` before the till is counted, and its takings.

    `opening` is None before the first closing, as no cash was ever counted.
    """
    last = DayClose.last()
    till = DayClose(since=date.min, day=day, currency=shop.currency, opening=None)
    if last:
        till.since = last.day + timedelta(days=1)
        if last.currency == till.currency:
            till.opening = last.closing_float
    else:
        till.since = (
            payments_of(date.min, day).aggregate(n=Min("booked_on"))["n"] or day
        )
    rows = takings(till.since, day, currency=till.currency)
    till.cash = next(row.total for row in rows if row.means == "cash")
    return till, rows


def rows_of(payments) -> Iterator[tuple]:
    """Yield each payment as a row of a file, in the order of HEADS."""
    for payment in payments:
        invoice = payment.invoice
        yield (
            payment.booked_on,
            payment.paid_on,
            moment(payment.taken_at),
            payment.job.number,
            invoice.full_number if invoice else None,
            payment.receipt.full_number if hasattr(payment, "receipt") else None,
            payment.text or ("on a bill" if invoice else "deposit"),
            payment.get_means_display(),
            money.rounded(payment.amount, places=payment.places),
            money.rounded(payment.rounding, places=payment.places),
            payment.currency,
            payment.taken_by,
        )
