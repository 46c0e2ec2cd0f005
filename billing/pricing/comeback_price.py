"""The price that bears its comebacks: reserve, floor, and what is suggested.

All costs are before tax. Prices are as the shop's are, with tax or without.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from shopdesk.money import rounded

ZERO = Decimal(0)
HUNDRED = Decimal(100)
FINE = Decimal("0.0001")


@dataclass(frozen=True)
class Mended:
    """One fault mended by one fix: planned minutes, cost of parts, and the chance that
    it comes back while it is covered.
    """

    minutes: int
    parts: Decimal
    chance: Decimal


@dataclass(frozen=True)
class Bearing:
    """What the shop bears an option by.

    `hour` is the cost of an hour, `margin` in percent. `tax` is in percent where prices
    include it, else 0. Labour is charged in multiples of `step`.
    """

    hour: Decimal
    parcel: Decimal
    margin: Decimal
    tax: Decimal = ZERO
    step: Decimal = ZERO
    places: int = 2


@dataclass(frozen=True)
class Price:
    """How the price of an option is built up."""

    minutes: int
    labour: Decimal
    parts: Decimal
    fees: Decimal
    redo: Decimal
    """Cost of doing all of it again."""
    chance: Decimal
    """That any of its repairs comes back while covered."""
    reserve: Decimal
    list_price: Decimal
    floor_before_rounding: Decimal
    floor: Decimal

    @property
    def own(self) -> Decimal:
        """What it costs the shop, if it holds."""
        return self.labour + self.parts + self.fees

    @property
    def is_raised(self) -> bool:
        return self.floor > self.list_price

    @property
    def suggested(self) -> Decimal:
        return max(self.list_price, self.floor)

    @property
    def raised_by(self) -> Decimal:
        """What the labour is raised by, so that the lines come to what is suggested."""
        return self.suggested - self.list_price


def priced(
    mended: Sequence[Mended],
    *,
    fees: Decimal,
    list_price: Decimal,
    by: Bearing,
) -> Price:
    """The price of mending all of `mended`; the reserves of several faults add up.

    The floor is rounded up, so that rounding never eats the margin; where it is above
    the list price, by whole steps of labour.
    """
    labour = sum((labour_cost(one.minutes, hour=by.hour) for one in mended), ZERO)
    parts = sum((one.parts for one in mended), ZERO)
    reserve = sum((reserve_of(one, by=by) for one in mended), ZERO)
    exact = (labour + parts + fees + reserve) / (1 - by.margin / HUNDRED)
    exact *= 1 + by.tax / HUNDRED
    floor = up_to(exact, step=Decimal(1).scaleb(-by.places))
    if floor > list_price and by.step:
        floor = list_price + up_to(floor - list_price, step=by.step)
        floor = up_to(floor, step=Decimal(1).scaleb(-by.places))
    return Price(
        minutes=sum(one.minutes for one in mended),
        labour=labour,
        parts=parts,
        fees=fees,
        redo=sum((rework_cost(one, by=by) for one in mended), ZERO),
        chance=any_of([one.chance for one in mended]),
        reserve=reserve,
        list_price=list_price,
        floor_before_rounding=exact,
        floor=floor,
    )


def labour_cost(minutes: int, *, hour: Decimal) -> Decimal:
    """What `minutes` cost the shop."""
    return hour * minutes / 60


def rework_cost(one: Mended, *, by: Bearing) -> Decimal:
    """What it costs to do it again: the time, the parts, and the parcel back."""
    return labour_cost(one.minutes, hour=by.hour) + one.parts + by.parcel


def reserve_of(one: Mended, *, by: Bearing) -> Decimal:
    """What is to be laid by for its comebacks."""
    return one.chance * rework_cost(one, by=by)


def any_of(chances: Sequence[Decimal]) -> Decimal:
    """The chance that at least one of several comes back."""
    none = Decimal(1)
    for chance in chances:
        none *= 1 - chance
    return (1 - none).quantize(FINE)


def up_to(amount: Decimal, *, step: Decimal) -> Decimal:
    """`amount`, or the next multiple of `step` above it."""
    return (amount / step).quantize(Decimal(1), rounding=ROUND_CEILING) * step


def margin_of(price: Decimal, *, cost: Decimal, tax: Decimal = ZERO) -> Decimal | None:
    """What is left of a price in percent, once costs and comebacks are borne."""
    net = price / (1 + tax / HUNDRED)
    return rounded((net - cost) / net * HUNDRED, places=1) if net > 0 else None


def shared(amount: Decimal, *, by: Sequence[Decimal], places: int) -> list[Decimal]:
    """`amount` in shares as large as `by` says; rounding goes to the first."""
    total = sum(by, ZERO)
    if not by:
        return []
    shares = [
        rounded(amount * one / total if total else amount / len(by), places=places)
        for one in by
    ]
    return [amount - sum(shares[1:], ZERO), *shares[1:]]
