"""The takings of the days that one closing covers, by payment method."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Min, Q, Sum
from django.utils.translation import gettext

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
    return MethodTotals("", gettext("Total"), **sums)


def payments_in(close: DayClose):
    """Return the payments that a closing counts."""
    return payments_of(close.since, close.day).filter(currency=close.currency)


def payments_of(since: date, until: date):
    """Return the payments recorded for these days, without transfers."""
    payments = Payment.objects.over_the_counter().for_list().select_related("job")
    return payments.filter(booked_on__range=(since, until)).order_by("id")


def all_takings(since: date, until: date) -> dict[str, list[MethodTotals]]:
    """Return the takings of these days by currency, one row per payment method."""

    def total(field: str, **only):
        return Sum(field, filter=Q(**only), default=Decimal(0))

    payments = payments_of(since, until).order_by()
    sums = payments.values("currency", "means").annotate(
        invoices=total("amount", invoice__isnull=False, amount__gt=0),
        deposits=total("amount", invoice__isnull=True, amount__gt=0),
        refunds=total("amount", amount__lt=0),
        cash_rounding=total("rounding"),
        count=Count("id"),
    )
    found: dict[str, dict] = {}
    for row in sums:
        found.setdefault(row.pop("currency"), {})[row["means"]] = row
    return {currency: _by_method(rows) for currency, rows in found.items()}


def _by_method(rows: dict[str, dict]) -> list[MethodTotals]:
    return [
        MethodTotals(**{"means": means, "label": label, **rows.get(means, {})})
        for means, label in MEANS
    ]


def takings(since: date, until: date, *, currency: str) -> list[MethodTotals]:
    """Return the takings of these days in a currency, one row per payment method."""
    return all_takings(since, until).get(currency) or _by_method({})


@dataclass(frozen=True)
class OpenTill:
    """The closing of a currency before the till is counted, and its takings."""

    close: DayClose
    rows: list[MethodTotals]

    @property
    def total(self) -> MethodTotals:
        return grand_total(self.rows)


def open_tills(
    *, day: date, shop: Shop, counted: Collection[str] = ()
) -> list[OpenTill]:
    """Return the till of each currency on `day`, first that of the shop.

    The others are those that were taken since the last closing, those of which cash is
    left, and those that were `counted`. `opening` is None before the first closing of a
    currency, as no cash was ever counted.
    """
    lasts = DayClose.last_of_currencies()
    if lasts:
        last_day = max(close.day for close in lasts.values())
        since = last_day + timedelta(days=1)
    else:
        first = payments_of(date.min, day).aggregate(n=Min("booked_on"))["n"]
        since = first or day
    found = all_takings(since, day)
    left = {currency for currency, close in lasts.items() if close.closing_float}
    others = sorted({*found, *left, *counted} - {shop.currency})
    return [
        _open_till(
            DayClose(since=since, day=day, currency=currency, opening=None),
            rows=found.get(currency) or _by_method({}),
            last=lasts.get(currency),
        )
        for currency in (shop.currency, *others)
    ]


def _open_till(
    close: DayClose, *, rows: list[MethodTotals], last: DayClose | None
) -> OpenTill:
    if last:
        close.opening = last.closing_float
    close.cash = next(row.total for row in rows if row.means == "cash")
    return OpenTill(close, rows)


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
            payment.text or ("on an invoice" if invoice else "deposit"),
            payment.get_means_display(),
            money.rounded(payment.amount, places=payment.places),
            money.rounded(payment.rounding, places=payment.places),
            payment.currency,
            payment.taken_by,
        )
