"""What the page of the shop's figures shows beside its boxes."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from hashlib import sha256

from shopdesk.shop import currencies, numbering, tax
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate


def stamp() -> str:
    """Changes with every figure: by it a page knows that it is out of date."""
    kept = Shop.objects.values()
    shops = [{**one, "logo": bytes(one["logo"] or b"")} for one in kept]
    told = [shops, *(list(of.objects.values_list()) for of in (TaxRate, MarkupTier))]
    return sha256(repr(told).encode()).hexdigest()[:32]


@dataclass(frozen=True)
class RateRow:
    """A rate and the days on which it holds; without a first day it is built in."""

    label: str
    rate: Decimal
    reason: str
    starts_on: date | None
    ends_on: date | None
    standing: str
    pk: int | None = None


def rate_rows(on: date) -> list[RateRow]:
    """Every rate on record, by kind, the latest first; and what holds without one."""
    rows = list(TaxRate.objects.all())
    found = []
    for kind, label in tax.KINDS:
        if kind == tax.ZERO:
            continue  # always 0 %, and nothing to say of it
        own = [row for row in rows if row.kind == kind]
        found += _in_turn(own, label, on)
        unsaid = tax.UNSAID.get(kind)
        if unsaid and not own:
            found.append(
                RateRow(label, unsaid.rate, unsaid.reason, None, None, "holds now")
            )
    return found


def _in_turn(rows: list[TaxRate], label: str, on: date) -> Iterator[RateRow]:
    ends_on = None
    for row in rows:
        if row.starts_on > on:
            standing = "to come"
        else:
            standing = "ended" if ends_on and ends_on < on else "holds now"
        yield RateRow(
            label,
            row.rate,
            row.reason or tax.exemption_reason(row.kind),
            row.starts_on,
            ends_on,
            standing,
            row.pk if standing == "to come" else None,
        )
        ends_on = row.starts_on - timedelta(days=1)


@dataclass(frozen=True)
class BandRow:
    """A band, and what the first part in it and the last below it are sold for."""

    band: MarkupTier
    below: Decimal
    below_price: Decimal
    price: Decimal

    @property
    def is_dip(self) -> bool:
        """Whether the dearer part is sold for less."""
        return self.price < self.below_price


def band_rows(shop: Shop) -> list[BandRow]:
    """The bands from the lowest up."""
    markups = shop.markups()
    unit = Decimal(1).scaleb(-shop.places)
    return [
        BandRow(
            band,
            band.starts_at - unit,
            markups.price(band.starts_at - unit),
            markups.price(band.starts_at),
        )
        for band in MarkupTier.objects.all()
    ]


def next_number(pattern: str, *, on: date) -> str:
    """The number that the next bill would bear with this pattern."""
    name = numbering.series_name(pattern, on=on)
    taken = Series.objects.filter(name=name).values_list("last", flat=True).first()
    return numbering.full_number(name, (taken or 0) + 1)


@dataclass(frozen=True)
class Example:
    """What the figures would look like on a paper; empty where they make no sense."""

    amount: str = ""
    invoice: str = ""
    credit: str = ""


def example(told: dict, *, on: date) -> Example:
    """What the figures as they are `told` would look like; wrong ones are left out."""
    amount = None
    if told.get("currency") and told.get("locale"):
        amount = currencies.sample(told["currency"], locale=told["locale"])
    own, other = told.get("invoice_series"), told.get("credit_series")
    return Example(
        amount=amount or "",
        invoice=next_number(own, on=on) if own else "",
        credit=next_number(other, on=on) if other else "",
    )
