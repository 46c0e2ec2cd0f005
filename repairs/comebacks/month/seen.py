"""What was seen of each repair by a day: its pair, when it left, what came of it.

Unlike the counts of the comeback table this keeps the repairs apart, for all that asks
by month, by delivery or by model.
"""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.baseline import cumulative_hazard
from repairs.comebacks.pairs import ComebackTable
from repairs.comebacks.posterior import Posterior
from repairs.comebacks.watch import Floats, Ints, days_watched


@dataclass(frozen=True)
class Seen:
    """Columns over the repairs handed back by a day; days are day numbers.

    `pair` is the row of the comeback table of the same day, `t` the days watched, `d`
    one where the same fault came back within the horizon.
    """

    as_of: date
    within: int
    repair: Ints
    pair: Ints
    model: Ints
    handed_back: Ints
    watch_ends: Ints
    t: Ints
    d: Ints

    @property
    def is_watched(self) -> NDArray[np.bool_]:
        """Those that may still come back within their time."""
        today = self.as_of.toordinal()
        return np.asarray(
            (self.d == 0)
            & (self.watch_ends > today)
            & (self.handed_back + self.within > today)
        )

    @property
    def back_by_pair(self) -> dict[int, frozenset[int]]:
        """The repairs of each pair that came back."""
        is_back = self.d == 1
        back: dict[int, set[int]] = defaultdict(set)
        both = zip(self.pair[is_back], self.repair[is_back], strict=True)
        for pair, repair in both:
            back[int(pair)].add(int(repair))
        return {pair: frozenset(repairs) for pair, repairs in back.items()}


def seen(
    *,
    as_of: date,
    within: int,
    repair: Ints,
    pair: Ints,
    model: Ints,
    handed_back: Ints,
    watch_ends: Ints,
    came_back: Ints,
) -> Seen:
    """The same, from the day each came back first (`watch.NEVER` where it did not)."""
    t, d = days_watched(
        handed_back,
        came_back=came_back,
        watch_ends=watch_ends,
        as_of=as_of.toordinal(),
        within=within,
    )
    return Seen(as_of, within, repair, pair, model, handed_back, watch_ends, t, d)


@dataclass(frozen=True)
class Known:
    """The shop's hazard by day, and each pair's ratio to it."""

    hazard: Floats
    posterior: Posterior

    @classmethod
    def by(cls, table: ComebackTable, *, among: ComebackTable | None = None) -> "Known":
        """`among` is the table of all repairs where `table` counts only some."""
        of_all = among or table
        hazard = cumulative_hazard(of_all.counts)
        if of_all.is_without_returns:
            # No day is more likely than another while none has been seen.
            hazard = table.hazard * np.linspace(0.0, 1.0, table.within + 1)
        return cls(hazard, table.posterior)
