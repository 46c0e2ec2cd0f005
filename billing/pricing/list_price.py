"""The list price of an option: labour, parts and fees, each a line.

What comebacks cost is not in it: a floor that bears them is reckoned from the same
lines.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.stock.prices import part_price
from shopdesk.money import Line as MoneyLine
from shopdesk.money import line_amount, rounded, to_step
from shopdesk.shop.markups import Markups

LABOUR, PART, FEE = "labour", "part", "fee"


@dataclass(frozen=True)
class Rates:
    """What the shop charges by."""

    hour: Decimal
    minimum_minutes: int
    step: Decimal
    markups: Markups
    places: int = 2


@dataclass(frozen=True)
class Work:
    """Planned minutes of one fix."""

    text: str
    minutes: int


@dataclass(frozen=True)
class Wanted:
    """A part that a fix takes; `cost` is None where nobody knows it."""

    text: str
    quantity: int
    cost: Decimal | None
    fixed: Decimal | None = None


@dataclass(frozen=True)
class Fee:
    text: str
    price: Decimal


@dataclass(frozen=True)
class ListLine:
    """One line; `price` is None where none can be suggested."""

    kind: str
    text: str
    quantity: Decimal
    price: Decimal | None


def labour_price(minutes: int, *, rates: Rates) -> Decimal:
    """What `minutes` of labour cost, to the shop's rounding step."""
    exact = rates.hour * minutes / 60
    return rounded(to_step(exact, step=rates.step), places=rates.places)


def labour_lines(work: Sequence[Work], *, rates: Rates) -> list[ListLine]:
    """A line for each fix. The least minutes hold for all of them together."""
    short = max(0, rates.minimum_minutes - sum(one.minutes for one in work))
    return [
        ListLine(
            LABOUR,
            one.text,
            Decimal(1),
            labour_price(one.minutes + (0 if n else short), rates=rates),
        )
        for n, one in enumerate(work)
    ]


def part_line(wanted: Wanted, *, rates: Rates) -> ListLine:
    """A part at its fixed price, else at cost with the shop's markup."""
    price = None
    if wanted.fixed is not None:
        price = wanted.fixed
    elif wanted.cost is not None:
        price = rounded(
            part_price(wanted.cost, fixed=None, markups=rates.markups),
            places=rates.places,
        )
    return ListLine(PART, wanted.text, Decimal(wanted.quantity), price)


def fee_line(fee: Fee) -> ListLine:
    return ListLine(FEE, fee.text, Decimal(1), fee.price)


def list_total(lines: Sequence[ListLine], *, places: int) -> Decimal:
    """The sum of the lines, as the shop's prices are: with tax or without."""
    return sum(
        (
            line_amount(
                MoneyLine(line.quantity, line.price or Decimal(0), Decimal(0)),
                places=places,
            )
            for line in lines
        ),
        Decimal(0),
    )
