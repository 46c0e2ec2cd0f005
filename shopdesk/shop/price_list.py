"""The list price: labour, parts and fees at the shop's rates.

List prices do not include comebacks: `billing.pricing.comeback_price` raises a list
price that does not cover them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import TaxedLine, line_amount, round_to_step, rounded

LABOUR, PART, FEE = "labour", "part", "fee"
NO_TAX = dict.fromkeys((LABOUR, PART, FEE), Decimal(0))


@dataclass(frozen=True)
class Markups:
    """Markups in percent on the unit cost; `tiers` are (minimum cost, percent), rising.

    The percentage of the highest tier reached applies to the full cost; below the first
    tier it is `percent`. Prices have `places` decimals, halves rounded up.
    """

    percent: Decimal
    tiers: tuple[tuple[Decimal, Decimal], ...] = ()
    places: int = 2

    def on(self, cost: Decimal) -> Decimal:
        """Return the markup in percent on a part of this cost."""
        reached = [percent for least, percent in self.tiers if least <= cost]
        return reached[-1] if reached else self.percent

    def price(self, cost: Decimal) -> Decimal:
        """Return the selling price of one part of this cost."""
        return rounded(cost * (100 + self.on(cost)) / 100, places=self.places)


@dataclass(frozen=True)
class ChargeRates:
    """What the shop charges: hourly rate, labour rounding, and markups."""

    hourly_rate: Decimal
    minimum_minutes: int
    step: Decimal
    markups: Markups
    places: int = 2


@dataclass(frozen=True)
class PlannedLabour:
    """Planned minutes of one fix."""

    text: str
    minutes: int


@dataclass(frozen=True)
class PartNeed:
    """A part that a fix needs; `cost` is None if unknown."""

    text: str
    quantity: int
    cost: Decimal | None
    fixed: Decimal | None = None


@dataclass(frozen=True)
class ListLine:
    """One line; `price` is None if none can be suggested."""

    kind: str
    text: str
    quantity: Decimal
    price: Decimal | None


@dataclass(frozen=True)
class FixCost:
    """What one repair is charged and what it costs, by the fault book."""

    price: Decimal
    net_price: Decimal
    cost: Decimal
    is_whole: bool
    """Whether the price of every part is known."""


def labour_price(minutes: int, *, rates: ChargeRates) -> Decimal:
    """Return the price of `minutes` of labour, to the shop's rounding step."""
    exact = rates.hourly_rate * minutes / 60
    return rounded(round_to_step(exact, step=rates.step), places=rates.places)


def part_price(cost: Decimal, *, fixed: Decimal | None, markups: Markups) -> Decimal:
    """Return the unit price: the fixed price if there is one, else cost plus markup."""
    return markups.price(cost) if fixed is None else fixed


def labour_lines(
    items: Sequence[PlannedLabour], *, rates: ChargeRates
) -> list[ListLine]:
    """Return a line for each fix. The minimum minutes apply to all of them together."""
    short = max(0, rates.minimum_minutes - sum(item.minutes for item in items))
    return [
        ListLine(
            LABOUR,
            item.text,
            Decimal(1),
            labour_price(item.minutes + (0 if n else short), rates=rates),
        )
        for n, item in enumerate(items)
    ]


def part_line(need: PartNeed, *, rates: ChargeRates) -> ListLine:
    """Return the line of a part; without cost and fixed price it has no price."""
    price = need.fixed
    if need.cost is not None:
        price = part_price(need.cost, fixed=need.fixed, markups=rates.markups)
    return ListLine(PART, need.text, Decimal(need.quantity), price)


def fee_line(text: str, price: Decimal) -> ListLine:
    """Return the line of a fee."""
    return ListLine(FEE, text, Decimal(1), price)


def list_total(lines: Sequence[ListLine], *, places: int) -> Decimal:
    """Return the sum of the rounded lines, with tax if the shop's prices include it."""
    return sum((list_amount(line, places=places) for line in lines), Decimal(0))


def list_amount(line: ListLine, *, places: int) -> Decimal:
    """Return the rounded amount of a line; 0 if it has no price."""
    price = line.price or Decimal(0)
    return line_amount(TaxedLine(line.quantity, price, Decimal(0)), places=places)


def net_of(
    amounts: Iterable[tuple[str, Decimal]], *, included_tax: Mapping[str, Decimal]
) -> Decimal:
    """Return the sum, without the tax in it, of amounts of labour, parts and fees.

    `included_tax` is in percent, by what is sold. The sum is exact.
    """
    return sum(
        (amount / (1 + included_tax[sold] / 100) for sold, amount in amounts),
        Decimal(0),
    )


def tax_difference(
    amounts: Iterable[tuple[str, Decimal]], *, included_tax: Mapping[str, Decimal]
) -> Decimal:
    """Return how much more tax `amounts` include than if they were all labour."""
    labour = 1 + included_tax[LABOUR] / 100
    return sum(
        (
            amount - amount * labour / (1 + included_tax[sold] / 100)
            for sold, amount in amounts
            if included_tax[sold] != included_tax[LABOUR]
        ),
        Decimal(0),
    )


def fix_cost(
    minutes: int,
    parts: Sequence[PartNeed],
    *,
    rates: ChargeRates,
    hourly_cost: Decimal,
    included_tax: Mapping[str, Decimal] = NO_TAX,
) -> FixCost:
    """Return the list price of one fix and its cost to the shop."""
    parts_cost = sum(
        ((part.cost or Decimal(0)) * part.quantity for part in parts), Decimal(0)
    )
    lines = [
        *labour_lines([PlannedLabour("", minutes)], rates=rates),
        *(part_line(part, rates=rates) for part in parts),
    ]
    amounts = [(line.kind, list_amount(line, places=rates.places)) for line in lines]
    return FixCost(
        price=list_total(lines, places=rates.places),
        net_price=net_of(amounts, included_tax=included_tax),
        cost=rounded(hourly_cost * minutes / 60 + parts_cost, places=rates.places),
        is_whole=all(line.price is not None for line in lines),
    )
