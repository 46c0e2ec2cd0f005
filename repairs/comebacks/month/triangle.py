"""The triangle: of each month's repairs, how many came back after how long."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from repairs.comebacks.month.months import (
    MonthRow,
    last_of,
    month_numbers,
    said,
)
from repairs.comebacks.month.seen import Seen
from repairs.comebacks.rows import share

STEP = 30  # days
MOST_STEPS = 6  # a longer horizon goes in wider steps
SHADES = (0.0, 0.02, 0.05, 0.10)  # a cell is shaded by how many of these it is above


@dataclass(frozen=True)
class Cell:
    """Comebacks of a month's repairs within these days of their handing back."""

    least: int
    most: int
    count: int
    of: int
    is_begun: bool  # some of them have been away that long
    is_seen: bool  # all of them have been away longer

    @property
    def share(self) -> float:
        return self.count / max(self.of, 1)

    @property
    def shade(self) -> int:
        return sum(self.share > edge for edge in SHADES)

    @property
    def share_said(self) -> str:
        return share(self.share)


@dataclass(frozen=True)
class TriangleRow:
    month: date
    repairs: int
    cells: list[Cell]

    @property
    def said(self) -> str:
        return said(self.month)


@dataclass(frozen=True)
class Triangle:
    heads: list[str]
    rows: list[TriangleRow]


def triangle(seen: Seen, rows: list[MonthRow]) -> Triangle:
    """The months of the chart, by steps of thirty days since handing back."""
    step = STEP * -(-seen.within // (STEP * MOST_STEPS))
    steps = max(-(-seen.within // step), 1)
    first = rows[0].month if rows else seen.as_of
    start = int(month_numbers(np.array([first.toordinal()]))[0])
    spot = month_numbers(seen.handed_back) - start
    keep = (spot >= 0) & (seen.d == 1)
    at = np.maximum(seen.t[keep] - 1, 0) // step
    cells = np.bincount(spot[keep] * steps + at, minlength=len(rows) * steps)
    edges = [
        (n * step + bool(n), min((n + 1) * step, seen.within)) for n in range(steps)
    ]
    return Triangle(
        heads=[f"{low}–{high}" for low, high in edges],
        rows=[
            TriangleRow(
                row.month,
                row.repairs,
                [
                    Cell(
                        least=low,
                        most=high,
                        count=int(cells[number * steps + n]),
                        of=row.repairs,
                        is_begun=row.month + timedelta(low) <= seen.as_of,
                        is_seen=last_of(row.month) + timedelta(high) <= seen.as_of,
                    )
                    for n, (low, high) in enumerate(edges)
                ],
            )
            for number, row in enumerate(rows)
        ],
    )
