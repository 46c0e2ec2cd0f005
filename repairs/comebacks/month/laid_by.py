"""What the prices of a month's repairs bore for comebacks, against what these cost.

Only repairs count whose accepted price says what it bore: a repair without that is
left out on both sides, so that like stands against like.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from repairs.comebacks.month.coming import hazard_ahead, likely
from repairs.comebacks.month.months import MonthRow, month_numbers, said
from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.watch import Ints
from shopdesk.money import rounded

UNIT = 10_000  # of the amounts as the database holds them


@dataclass(frozen=True)
class LaidBy:
    """A month's repairs: what was charged for their comebacks, and what these take."""

    month: date
    repairs: int
    on_record: int
    charged: Decimal
    spent: Decimal
    """What their comebacks cost so far, in whichever month these were handed back."""
    expected: Decimal
    """What those still to come, and those still here, are expected to cost."""

    @property
    def said(self) -> str:
        return said(self.month)

    @property
    def missing(self) -> int:
        """Repairs of which it is not on record what their price bore."""
        return self.repairs - self.on_record

    @property
    def needed(self) -> Decimal:
        return self.spent + self.expected

    @property
    def over(self) -> Decimal:
        """What is left of the charged when all is paid; less than nothing if short."""
        return self.charged - self.needed

    @property
    def is_short(self) -> bool:
        return self.over < 0

    @property
    def amiss(self) -> Decimal:
        """By how much it is short or left over."""
        return abs(self.over)

    @property
    def word(self) -> str:
        if not self.on_record:
            return "not on record"
        return "too little" if self.is_short else "enough"


def laid_by(
    seen: Seen,
    known: Known,
    *,
    months: Sequence[MonthRow],
    repair: Ints,
    reserve: Ints,
    comebacks: Sequence[tuple[int, Decimal | None]],
    rework_costs: Sequence[Decimal],
    places: int,
) -> list[LaidBy]:
    """The months of the chart. `repair` and `reserve` go together, in units of 1/10000;
    `comebacks` are repairs and what doing them again cost, None where they are not
    handed back yet; `rework_costs` has a cost for each row of the table.
    """
    start = int(month_numbers(np.array([months[0].month.toordinal()]))[0])
    spot = month_numbers(seen.handed_back) - start
    at = np.searchsorted(seen.repair, repair)
    keep = spot[at] >= 0
    at, reserve = at[keep], reserve[keep]
    charged = np.zeros(len(months), np.int64)
    np.add.at(charged, spot[at], reserve)
    on_record = np.bincount(spot[at], minlength=len(months))

    cost = np.array([float(amount) for amount in rework_costs])
    watched = at[seen.is_watched[at]]
    ahead = hazard_ahead(seen, known, days=seen.within)
    chances = likely(known.posterior, pair=seen.pair[watched], hazard=ahead[watched])
    expected = np.bincount(
        spot[watched],
        weights=chances * cost[seen.pair[watched]],
        minlength=len(months),
    )
    spent = [Decimal(0)] * len(months)
    row_of = dict(zip(seen.repair[at].tolist(), at.tolist(), strict=True))
    for earlier, paid in comebacks:
        row = row_of.get(earlier)
        if row is None:
            continue
        if paid is None:
            expected[spot[row]] += cost[seen.pair[row]]
        else:
            spent[spot[row]] += paid
    return [
        LaidBy(
            month=month.month,
            repairs=month.repairs,
            on_record=int(on_record[n]),
            charged=Decimal(int(charged[n])) / UNIT,
            spent=spent[n],
            expected=rounded(Decimal(repr(float(expected[n]))), places=places),
        )
        for n, month in enumerate(months)
    ]


def together(rows: Sequence[LaidBy]) -> LaidBy:
    """All these months in one; there must be one at least."""
    return LaidBy(
        month=rows[-1].month,
        repairs=sum(row.repairs for row in rows),
        on_record=sum(row.on_record for row in rows),
        charged=sum((row.charged for row in rows), Decimal(0)),
        spent=sum((row.spent for row in rows), Decimal(0)),
        expected=sum((row.expected for row in rows), Decimal(0)),
    )
