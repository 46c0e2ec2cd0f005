"""From what a part costs to what it is sold for."""

from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import rounded


@dataclass(frozen=True)
class Markups:
    """Percent on the cost of one part; `bands` are (costs at least, percent), rising.

    The whole cost bears the percent of the highest band it reaches; below the first
    band it is `percent`. Prices have `places` decimals, halves up.
    """

    percent: Decimal
    bands: tuple[tuple[Decimal, Decimal], ...] = ()
    places: int = 2

    def on(self, cost: Decimal) -> Decimal:
        """The percent that a part of this cost bears."""
        reached = [percent for least, percent in self.bands if least <= cost]
        return reached[-1] if reached else self.percent

    def price(self, cost: Decimal) -> Decimal:
        """What one part of this cost is sold for."""
        return rounded(cost * (100 + self.on(cost)) / 100, places=self.places)
