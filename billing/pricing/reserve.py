"""A price that bears its comebacks: what a repair costs the shop in the end.

The comeback reserve is the chance that the fault is back within the days of cover times
what doing it again costs; the floor is the least price at which the shop keeps its
margin after that. All amounts are before tax.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from shopdesk.money import rounded

LIST, FLOOR = "list", "floor"


@dataclass(frozen=True)
class Mend:
    """One repair of an option. `chance` is that of a comeback within the cover."""

    minutes: Decimal
    parts_cost: Decimal
    chance: Decimal

    def cost(self, *, cost_rate: Decimal) -> Decimal:
        """What doing it costs the shop: labour and parts."""
        return self.minutes * cost_rate / 60 + self.parts_cost

    def reserve(self, *, cost_rate: Decimal, parcel: Decimal) -> Decimal:
        """What to lay by for doing it again."""
        return self.chance * (self.cost(cost_rate=cost_rate) + parcel)


@dataclass(frozen=True)
class Worth:
    """What an option costs the shop, and the least it should be sold for."""

    cost: Decimal
    redo_cost: Decimal
    chance: Decimal
    reserves: tuple[Decimal, ...]
    reserve: Decimal
    fees: Decimal
    floor: Decimal

    def margin(self, net: Decimal) -> Decimal | None:
        """The share of a price that is left after expected comebacks."""
        if not net:
            return None
        return (net - self.cost - self.fees - self.reserve) / net


def worth(
    mends: Sequence[Mend],
    *,
    cost_rate: Decimal,
    parcel: Decimal,
    fees: Decimal,
    target_margin: Decimal,
    places: int,
) -> Worth:
    """Cost, reserve and floor of the repairs of one option.

    `fees` are what is passed on at its cost, `parcel` what sending a comeback back
    costs, `target_margin` a percentage below 100. The floor is rounded up, so that the
    margin is kept.
    """
    costs = [mend.cost(cost_rate=cost_rate) for mend in mends]
    cost = rounded(sum(costs, Decimal(0)), places=places)
    reserves = tuple(
        rounded(mend.reserve(cost_rate=cost_rate, parcel=parcel), places=places)
        for mend in mends
    )
    reserve = sum(reserves, Decimal(0))
    redo = [one + parcel for one in costs]
    held = Decimal(1)
    for mend in mends:
        held *= 1 - mend.chance
    least = (cost + fees + reserve) / (1 - target_margin / 100)
    return Worth(
        cost=cost,
        redo_cost=rounded(sum(redo, Decimal(0)), places=places),
        chance=1 - held,
        reserves=reserves,
        reserve=reserve,
        fees=fees,
        floor=least.quantize(Decimal(1).scaleb(-places), rounding=ROUND_CEILING),
    )


def raised(price: Decimal, *, by: Decimal, step: Decimal, places: int) -> Decimal:
    """`price` with at least `by` on top, to the next multiple of `step`."""
    if by <= 0:
        return price
    to = step or Decimal(1).scaleb(-places)
    steps = ((price + by) / to).to_integral_value(rounding=ROUND_CEILING)
    return steps * to
