"""The price that covers its comebacks: allowance, minimum price, suggested price.

All costs exclude tax. Prices include it if the shop's prices do.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from shopdesk.money import rounded

ZERO = Decimal(0)
HUNDRED = Decimal(100)
FINE = Decimal("0.0001")


@dataclass(frozen=True)
class RepairCost:
    """One repair: planned minutes, cost of parts, comeback risk within its warranty."""

    minutes: int
    parts: Decimal
    chance: Decimal


@dataclass(frozen=True)
class PricingRules:
    """The shop's rules for one option.

    `margin` is in percent. `tax` is that on labour, in percent, if prices include it,
    else 0. Labour is charged in multiples of `step`.
    """

    hourly_cost: Decimal
    parcel: Decimal
    margin: Decimal
    tax: Decimal = ZERO
    step: Decimal = ZERO
    places: int = 2


@dataclass(frozen=True)
class Price:
    """How the price of an option is calculated."""

    minutes: int
    labour: Decimal
    parts: Decimal
    fees: Decimal
    rework_cost: Decimal
    chance: Decimal
    """Return the probability that any of its repairs comes back within the warranty."""
    comeback_allowance: Decimal
    list_price: Decimal
    exact_min_price: Decimal
    min_price: Decimal

    @property
    def own_cost(self) -> Decimal:
        """Return the cost to the shop without comebacks."""
        return self.labour + self.parts + self.fees

    @property
    def is_raised(self) -> bool:
        return self.min_price > self.list_price

    @property
    def suggested(self) -> Decimal:
        return max(self.list_price, self.min_price)

    @property
    def raised_by(self) -> Decimal:
        """Return the increase in labour that makes the lines match the suggestion."""
        return self.suggested - self.list_price


def price_option(
    repairs: Sequence[RepairCost],
    *,
    fees: Decimal,
    list_price: Decimal,
    tax_difference: Decimal = ZERO,
    by: PricingRules,
) -> Price:
    """Return the price of all `repairs`; their comeback allowances add up.

    `tax_difference` is how much more tax the list price includes than if all of it were
    taxed as labour is. The minimum price is rounded up, so that rounding never reduces
    the margin; above the list price it rises by whole steps of labour.
    """
    labour = sum(
        (labour_cost(repair.minutes, hourly_cost=by.hourly_cost) for repair in repairs),
        ZERO,
    )
    parts = sum((repair.parts for repair in repairs), ZERO)
    allowance = sum((comeback_allowance_of(repair, by=by) for repair in repairs), ZERO)
    exact = (labour + parts + fees + allowance) / (1 - by.margin / HUNDRED)
    exact = exact * (1 + by.tax / HUNDRED) + tax_difference
    min_price = round_up(exact, step=Decimal(1).scaleb(-by.places))
    if min_price > list_price and by.step:
        min_price = list_price + round_up(min_price - list_price, step=by.step)
        min_price = round_up(min_price, step=Decimal(1).scaleb(-by.places))
    return Price(
        minutes=sum(repair.minutes for repair in repairs),
        labour=labour,
        parts=parts,
        fees=fees,
        rework_cost=sum((rework_cost(repair, by=by) for repair in repairs), ZERO),
        chance=probability_of_any([repair.chance for repair in repairs]),
        comeback_allowance=allowance,
        list_price=list_price,
        exact_min_price=exact,
        min_price=min_price,
    )


def labour_cost(minutes: int, *, hourly_cost: Decimal) -> Decimal:
    """Return what `minutes` cost the shop."""
    return hourly_cost * minutes / 60


def rework_cost(repair: RepairCost, *, by: PricingRules) -> Decimal:
    """Return the cost of doing it again: labour, parts and return shipping."""
    return (
        labour_cost(repair.minutes, hourly_cost=by.hourly_cost)
        + repair.parts
        + by.parcel
    )


def comeback_allowance_of(repair: RepairCost, *, by: PricingRules) -> Decimal:
    """Return the comeback allowance: risk times rework cost."""
    return repair.chance * rework_cost(repair, by=by)


def probability_of_any(chances: Sequence[Decimal]) -> Decimal:
    """Return the probability that at least one of several comes back."""
    none = Decimal(1)
    for chance in chances:
        none *= 1 - chance
    return (1 - none).quantize(FINE)


def round_up(amount: Decimal, *, step: Decimal) -> Decimal:
    """Return `amount` rounded up to a multiple of `step`."""
    return (amount / step).quantize(Decimal(1), rounding=ROUND_CEILING) * step


def margin_of(price: Decimal, *, cost: Decimal, tax: Decimal = ZERO) -> Decimal | None:
    """Return the margin of a price in percent, None if the price is 0."""
    net = price / (1 + tax / HUNDRED)
    return rounded((net - cost) / net * HUNDRED, places=1) if net > 0 else None


def allocate(amount: Decimal, *, by: Sequence[Decimal], places: int) -> list[Decimal]:
    """Return `amount` split in proportion to `by`; the first takes the rounding."""
    total = sum(by, ZERO)
    if not by:
        return []
    shares = [
        rounded(amount * one / total if total else amount / len(by), places=places)
        for one in by
    ]
    return [amount - sum(shares[1:], ZERO), *shares[1:]]
