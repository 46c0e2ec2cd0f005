"""What was taken on the days that one closing covers, by the way it was paid."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Min, Q, Sum, Value
from django.db.models.functions import Coalesce

from billing.invoices.models import MEANS, DayClose, Payment
from shopdesk import money
from shopdesk.fields import MoneyField
from shopdesk.look.shop_formats import moment
from shopdesk.shop.models import Shop

HEADS = (
    *("counts_on", "paid_on", "taken_at", "job", "invoice", "receipt"),
    *("what", "how", "amount", "rounding", "currency", "taken_by"),
)
SUMS = ("bills", "deposits", "back", "rounding", "count")


@dataclass(frozen=True)
class MethodTotals:
    """One way of paying: money on invoices, deposits, refunds (negative), rounding."""

    means: str
    label: str
    bills: Decimal = Decimal(0)
    deposits: Decimal = Decimal(0)
    back: Decimal = Decimal(0)
    rounding: Decimal = Decimal(0)
    count: int = 0

    @property
    def total(self) -> Decimal:
        """What came in less what went out; rounding is no money."""
        return self.bills + self.deposits + self.back


def grand_total(rows: list[MethodTotals]) -> MethodTotals:
    """The sum of all ways of paying."""
    sums = {name: sum(getattr(row, name) for row in rows) for name in SUMS}
    return MethodTotals("", "Total", **sums)


def payments_of(since: date, day: date):
    """The money that counts on these days, but for what was only transferred."""
    return Payment.objects.over_the_counter().filter(booked_on__range=(since, day))


def takings(since: date, day: date, *, currency: str) -> list[MethodTotals]:
    """What was taken in a currency on these days: one row a way of paying."""

    def total(of: str, **only):
        zero = Value(Decimal(0), output_field=MoneyField())
        return Coalesce(Sum(of, filter=Q(**only)) if only else Sum(of), zero)

    rows = payments_of(since, day).filter(currency=currency).order_by()
    by_means = rows.values("means").annotate(
        bills=total("amount", invoice__isnull=False, amount__gt=0),
        deposits=total("amount", invoice__isnull=True, amount__gt=0),
        back=total("amount", amount__lt=0),
        rounded=total("rounding"),
        count=Count("id"),
    )
    found = {row["means"]: row for row in by_means}
    for row in found.values():
        row["rounding"] = row.pop("rounded")
    return [
        MethodTotals(**{"means": means, **found.get(means, {}), "label": label})
        for means, label in MEANS
    ]


@dataclass
class TillState:
    """The till before it is counted, from `since` to `day`."""

    since: date
    day: date
    currency: str
    opening: Decimal | None
    rows: list[MethodTotals]

    @property
    def total(self) -> MethodTotals:
        return grand_total(self.rows)

    @property
    def cash(self) -> Decimal:
        return next(row.total for row in self.rows if row.means == "cash")

    @property
    def expected(self) -> Decimal:
        return (self.opening or Decimal(0)) + self.cash


def open_till(*, day: date, shop: Shop) -> TillState:
    """What is to be counted if the till is closed with `day`.

    `opening` is None before the first closing: nobody has counted yet.
    """
    last = DayClose.last()
    if last:
        since = last.day + timedelta(days=1)
    else:
        since = payments_of(date.min, day).aggregate(n=Min("booked_on"))["n"] or day
    is_same = last is not None and last.currency == shop.currency
    return TillState(
        since=since,
        day=day,
        currency=shop.currency,
        opening=last.stays if is_same else None,
        rows=takings(since, day, currency=shop.currency),
    )


def as_rows(payments, *, places: int) -> Iterator[tuple]:
    """Each payment as a row of the file, in the order of HEADS."""
    found = payments.select_related("job").for_list().order_by("id")
    for payment in found:
        invoice = payment.invoice
        yield (
            payment.booked_on,
            payment.paid_on,
            moment(payment.taken_at),
            payment.job.number,
            invoice.full_number if invoice else None,
            payment.receipt.full_number if hasattr(payment, "receipt") else None,
            payment.words or ("on a bill" if invoice else "deposit"),
            payment.get_means_display(),
            money.rounded(payment.amount, places=places),
            money.rounded(payment.rounding, places=places),
            payment.currency,
            payment.taken_by,
        )
