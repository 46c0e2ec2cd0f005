"""What the settings page shows beside its fields."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from shopdesk.errors import IncompleteError
from shopdesk.shop import currencies, numbering, tax
from shopdesk.shop.models import MarkupTier, Series, Shop, TaxRate


@dataclass(frozen=True)
class RateRow:
    """A rate and the days on which it applies; without a first day it is a default."""

    label: str
    rate: Decimal
    reason: str
    starts_on: date | None
    ends_on: date | None
    status: str
    pk: int | None = None


def rate_rows(on: date) -> list[RateRow]:
    """Return every rate by kind, latest first, and the defaults of other kinds."""
    rows = list(TaxRate.objects.all())
    found = []
    for kind, label in tax.KINDS:
        if kind == tax.ZERO:
            continue  # always 0 %, and nothing to show
        own = [row for row in rows if row.kind == kind]
        found += _dated_rows(own, label, on)
        default = tax.DEFAULT_TAX.get(kind)
        if default and not own:
            found.append(
                RateRow(label, default.rate, default.reason, None, None, "current")
            )
    return found


def _dated_rows(rows: list[TaxRate], label: str, on: date) -> Iterator[RateRow]:
    ends_on = None
    for row in rows:
        if row.starts_on > on:
            status = "future"
        else:
            status = "ended" if ends_on and ends_on < on else "current"
        yield RateRow(
            label,
            row.rate,
            row.reason or tax.exemption_reason(row.kind),
            row.starts_on,
            ends_on,
            status,
            row.pk if status == "future" else None,
        )
        ends_on = row.starts_on - timedelta(days=1)


@dataclass(frozen=True)
class UsualTaxRow:
    """The usual taxes of one kind of customer, in the order of `tax.SOLD`."""

    buyer: str
    taxes: list[tuple[str, tax.Tax | None]]
    """What is sold, and its tax; None while it has no rate."""


def usual_tax_rows(shop: Shop, *, on: date) -> list[UsualTaxRow]:
    """Return what the tax rules come to; nothing if there are none."""
    rules = shop.tax_rules(on)
    if not rules.rules:
        return []
    return [
        UsualTaxRow(label, [(name, _of(rules, sold, kind)) for sold, name in tax.SOLD])
        for kind, label in tax.BUYERS
    ]


def _of(rules: tax.TaxRules, sold: str, kind: str) -> tax.Tax | None:
    try:
        return rules.of(sold, tax.Buyer(kind))
    except IncompleteError:
        return None


@dataclass(frozen=True)
class TierRow:
    """A tier, and the prices of the first part in it and the last part below it."""

    tier: MarkupTier
    below: Decimal
    below_price: Decimal
    price: Decimal

    @property
    def has_price_drop(self) -> bool:
        """Whether a more expensive part would be sold for less."""
        return self.price < self.below_price


def tier_rows(shop: Shop) -> list[TierRow]:
    """Return the tiers from the lowest up."""
    markups = shop.markups()
    unit = Decimal(1).scaleb(-shop.places)
    return [
        TierRow(
            tier,
            tier.starts_at - unit,
            markups.price(tier.starts_at - unit),
            markups.price(tier.starts_at),
        )
        for tier in MarkupTier.objects.all()
    ]


def next_number(pattern: str, *, on: date) -> str:
    """Return the number of the next invoice with this pattern."""
    name = numbering.series_name(pattern, on=on)
    taken = Series.objects.filter(name=name).values_list("last", flat=True).first()
    return numbering.full_number(name, (taken or 0) + 1)


@dataclass(frozen=True)
class Example:
    """A preview of the settings on a document; empty where they are invalid."""

    amount: str = ""
    invoice: str = ""
    credit: str = ""


def example(entered: dict, *, on: date) -> Example:
    """Return a preview of the valid settings in `entered`."""
    amount = None
    if entered.get("currency") and entered.get("locale"):
        amount = currencies.sample(entered["currency"], locale=entered["locale"])
    own, other = entered.get("invoice_series"), entered.get("credit_series")
    return Example(
        amount=amount or "",
        invoice=next_number(own, on=on) if own else "",
        credit=next_number(other, on=on) if other else "",
    )
