"""The money of the days that one closing covers."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Min, Q, Sum, Value
from django.db.models.functions import Coalesce

from billing.day_close.models import DayClose
from billing.day_close.tally import Taken, in_all
from billing.invoices.models import MEANS, Payment
from shopdesk import money
from shopdesk.fields import MoneyField
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import moment

HEADS = (
    *("booked_on", "paid_on", "taken_at", "job", "invoice", "receipt"),
    *("what", "how", "amount", "rounding", "currency", "taken_by"),
)


def payments_of(since: date, day: date):
    """The money that counts on these days, but for what was only moved."""
    return Payment.objects.over_the_counter().filter(booked_on__range=(since, day))


def takings(since: date, day: date, *, currency: str) -> list[Taken]:
    """What was taken in a currency on these days: one row a way of paying."""

    def total(of: str, **only):
        nought = Value(Decimal(0), output_field=MoneyField())
        return Coalesce(Sum(of, filter=Q(**only)) if only else Sum(of), nought)

    rows = payments_of(since, day).filter(currency=currency).order_by()
    found = {
        row.pop("means"): row
        for row in rows.values("means").annotate(
            bills=total("amount", invoice__isnull=False, amount__gt=0),
            deposits=total("amount", invoice__isnull=True, amount__gt=0),
            back=total("amount", amount__lt=0),
            rounded=total("rounding"),
            count=Count("id"),
        )
    }
    nothing = dict.fromkeys(("bills", "deposits", "back", "rounded"), Decimal(0))
    return [
        Taken(
            means=means,
            label=label,
            bills=row["bills"],
            deposits=row["deposits"],
            back=row["back"],
            rounding=row["rounded"],
            count=row["count"],
        )
        for means, label in MEANS
        for row in [found.get(means, nothing | {"count": 0})]
    ]


@dataclass
class Till:
    """The till as it stands before it is counted, from `since` to `day`."""

    since: date
    day: date
    currency: str
    opening: Decimal | None
    rows: list[Taken]

    @property
    def total(self) -> Taken:
        return in_all(self.rows)

    @property
    def cash(self) -> Decimal:
        return next(row.total for row in self.rows if row.means == "cash")


def open_till(*, day: date, shop: Shop) -> Till:
    """What is to be counted if the till is closed with `day`.

    `opening` is None before the first closing: nobody has counted yet.
    """
    last = DayClose.last()
    if last:
        since = last.day + timedelta(days=1)
    else:
        since = payments_of(date.min, day).aggregate(n=Min("booked_on"))["n"] or day
    is_same = last is not None and last.currency == shop.currency
    return Till(
        since=since,
        day=day,
        currency=shop.currency,
        opening=last.stays if is_same else None,
        rows=takings(since, day, currency=shop.currency),
    )


def as_rows(payments, *, places: int) -> Iterator[tuple]:
    """Each payment as a row of the file, in the order of HEADS."""
    seen = payments.select_related("job", "invoice", "receipt", "taken_by")
    for one in seen.defer("invoice__paper", "receipt__paper").order_by("id"):
        yield (
            one.booked_on,
            one.paid_on,
            moment(one.taken_at),
            one.job.number,
            one.invoice.full_number if one.invoice else None,
            one.receipt.full_number if hasattr(one, "receipt") else None,
            one.words or ("on a bill" if one.invoice else "deposit"),
            one.get_means_display(),
            money.rounded(one.amount, places=places),
            money.rounded(one.rounding, places=places),
            one.currency,
            one.taken_by,
        )
