"""What a fix usually takes: its price to the customer and its cost to the shop."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.stock.prices import part_price
from shopdesk.money import rounded, to_step
from shopdesk.shop.markups import Markups


@dataclass(frozen=True)
class Rates:
    """An hour to the customer and to the shop, and how prices are made from it."""

    price_of_hour: Decimal
    cost_of_hour: Decimal
    least_minutes: int
    step: Decimal
    markups: Markups
    places: int


@dataclass(frozen=True)
class Taken:
    """A part that the fix takes; `cost` is None where it never came in."""

    quantity: int
    cost: Decimal | None
    fixed: Decimal | None = None


@dataclass(frozen=True)
class Worth:
    """What one such repair is charged and what it costs, by the fault book."""

    price: Decimal
    cost: Decimal
    is_whole: bool
    """Whether the price of every part is known."""


def usual_worth(minutes: int, parts: Sequence[Taken], *, rates: Rates) -> Worth:
    """Labour at the shop's rates, and the usual parts with the shop's markup."""
    charged = max(minutes, rates.least_minutes)
    labour = to_step(rates.price_of_hour * charged / 60, step=rates.step)
    price, cost = labour, rates.cost_of_hour * minutes / 60
    for part in parts:
        one = part.cost or Decimal(0)
        cost += one * part.quantity
        price += (
            part_price(one, fixed=part.fixed, markups=rates.markups) * part.quantity
        )
    return Worth(
        price=rounded(price, places=rates.places),
        cost=rounded(cost, places=rates.places),
        is_whole=all(p.fixed is not None or p.cost is not None for p in parts),
    )
