"""What the record says of the repairs that an option is made of."""

from dataclasses import dataclass
from datetime import date
from math import expm1

from shopdesk.shop.models import Shop

LONGEST = 730
"""Cover of more days is priced as this: further nobody has watched."""


@dataclass(frozen=True)
class Told:
    """What the comeback table says of one pair, for the days asked about."""

    chance: float
    repairs: int
    returned: int
    judged: int
    low: float
    high: float
    within: int


class History:
    """The shop's record as a quote needs it, each part read once and if asked."""

    def __init__(self, *, shop: Shop, on: date) -> None:
        self._shop, self._on = shop, on
        self._records: dict[int, object] = {}

    def _record(self, within: int):
        # Imported late: it brings pandas, which most pages of the till never need.
        from repairs.comebacks.asked import Asked
        from repairs.comebacks.context import record_of

        if within not in self._records:
            asked = Asked(as_of=self._on, within=within)
            self._records[within] = record_of(asked, shop=self._shop)
        return self._records[within]

    def told(self, *, fault_id: int, fix_id: int | None, days: int) -> Told:
        """The chance that this repair is back within `days`, and what it rests on.

        Up to the shop's own horizon it follows from the table in closed form; for a
        longer cover the table is reckoned anew to its last day.
        """
        days = min(days, LONGEST)
        within = max(self._shop.watch_days, days)
        record = self._record(within)
        hazard = _hazard(record.table, days)
        row = (
            record.row_of(fault_id=fault_id, fix_id=fix_id)
            if fix_id is not None
            else None
        )
        if row is None:
            return Told(-expm1(-hazard), 0, 0, 0, 0.0, 1.0, days)
        known = record.table.posterior.of([record.pairs.index(row.pair)])
        return Told(
            chance=float(known.chance(hazard)[0]),
            repairs=row.repairs,
            returned=row.returned,
            judged=row.judged,
            low=float(known.chance_at(0.05, hazard)[0]),
            high=float(known.chance_at(0.95, hazard)[0]),
            within=within,
        )


def _hazard(table, days: int) -> float:
    """The shop's cumulative hazard by that day; before any return, even over days."""
    from repairs.comebacks.baseline import cumulative_hazard

    if days <= 0:
        return 0.0
    hazards = cumulative_hazard(table.counts)
    if hazards[-1] > 0:
        return float(hazards[days])
    return table.hazard * days / table.within
