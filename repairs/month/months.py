"""Repairs by month of handover: their comeback rates, and the time to comeback.

The limits of the rates are those of a p-chart: three standard errors around the rate of
all complete months, by the number of repairs (NIST/SEMATECH e-Handbook 6.3.3.2).
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, cast

import numpy as np
import pandas as pd

from repairs.comebacks.watch import Floats, Ints
from repairs.month.frame import Observations, first_day, month_number

MAX_MONTHS = 24
MIN_COMPLETE = 2  # complete months, to draw limits
FEW_COMPLETE = 12  # with fewer, the limits are approximate
STANDARD_ERRORS = 3.0

ABOVE = "above normal range"
BELOW = "below normal range"
WITHIN = "within normal range"
INCOMPLETE = "incomplete"
COMPLETE = "complete"


# --- rates ------------------------------------------------------------------------


@dataclass(frozen=True)
class MonthRow:
    """A month's repairs; `low` and `high` are limits, None if it is incomplete."""

    month: date
    repairs: int
    comebacks: int
    is_complete: bool
    in_follow_up: int
    still_expected: float
    low: float | None = None
    high: float | None = None

    @property
    def name(self) -> str:
        return f"{self.month:%b %Y}"

    @property
    def rate(self) -> float:
        return self.comebacks / max(self.repairs, 1)

    @property
    def expected_rate(self) -> float:
        """The rate expected once the month is complete."""
        return min((self.comebacks + self.still_expected) / max(self.repairs, 1), 1.0)

    @property
    def status(self) -> str:
        if not self.is_complete:
            return INCOMPLETE
        if self.low is None or self.high is None:
            return COMPLETE
        if self.rate > self.high:
            return ABOVE
        return BELOW if self.rate < self.low else WITHIN

    @property
    def is_above(self) -> bool:
        return self.status == ABOVE

    @property
    def is_below(self) -> bool:
        return self.status == BELOW


@dataclass(frozen=True)
class Months:
    rows: list[MonthRow]
    centre: float | None
    """The rate of all complete months; None if there are too few for limits."""

    @property
    def complete_count(self) -> int:
        return sum(row.is_complete for row in self.rows)

    @property
    def is_rough(self) -> bool:
        return self.complete_count < FEW_COMPLETE


@dataclass(frozen=True)
class PChart:
    centre: float
    rate: Floats
    low: Floats
    high: Floats


def p_chart(events: Ints, *, sizes: Ints) -> PChart:
    """Return rates with their limits, which lie between zero and one."""
    centre = float(events.sum() / max(int(sizes.sum()), 1))
    error = np.sqrt(centre * (1.0 - centre) / np.maximum(sizes, 1))
    return PChart(
        centre=centre,
        rate=events / np.maximum(sizes, 1),
        low=np.maximum(centre - STANDARD_ERRORS * error, 0.0),
        high=np.minimum(centre + STANDARD_ERRORS * error, 1.0),
    )


def months(seen: Observations) -> Months:
    """Return the latest months up to the day, with or without repairs."""
    last = month_number(seen.as_of)
    first = int(seen.repairs["month"].min()) if len(seen.repairs) else last
    first = max(first, last - MAX_MONTHS + 1)
    rows = (
        seen.repairs.assign(risk=seen.risk)
        .groupby("month")
        .agg(
            repairs=("repair", "size"),
            comebacks=("is_event", "sum"),
            in_follow_up=("is_open", "sum"),
            still_expected=("risk", "sum"),
        )
        .reindex(range(first, last + 1), fill_value=0)
    )
    period = timedelta(days=seen.within)
    rows["is_complete"] = [_last_day(n) + period <= seen.as_of for n in rows.index]
    judged = rows[rows["is_complete"] & (rows["repairs"] > 0)]
    chart = p_chart(judged["comebacks"].to_numpy(), sizes=judged["repairs"].to_numpy())
    has_limits = len(judged) >= MIN_COMPLETE
    frame = pd.DataFrame({"low": chart.low, "high": chart.high}, index=judged.index)
    limits = cast("dict[int, dict[str, Any]]", frame.to_dict("index"))
    if not has_limits:
        limits = {}
    # The types of pandas do not say that months are its keys.
    figures = cast("dict[int, dict[str, Any]]", rows.to_dict("index"))
    return Months(
        rows=[
            MonthRow(
                month=first_day(month),
                **figures[month],
                **limits.get(month, {}),
            )
            for month in figures
        ],
        centre=chart.centre if has_limits else None,
    )


def _last_day(month: int) -> date:
    return first_day(month + 1) - timedelta(days=1)


def last_day_before(day: date) -> date:
    """Return the last day of the month before."""
    return day.replace(day=1) - timedelta(days=1)


# --- time to comeback ---------------------------------------------------------------

STEP = 30  # days
MAX_STEPS = 6  # a longer period is divided into wider steps
SHADES = (0.0, 0.02, 0.05, 0.10)  # shading: how many of these it exceeds


@dataclass(frozen=True)
class Cell:
    """Comebacks of a month's repairs between these days after handover."""

    min_days: int
    max_days: int
    count: int
    repairs: int
    has_begun: bool  # some of the repairs have been followed up that long
    is_complete: bool  # all of them have been followed up to the end

    @property
    def rate(self) -> float:
        return self.count / max(self.repairs, 1)

    @property
    def shade(self) -> int:
        return sum(self.rate > edge for edge in SHADES)


@dataclass(frozen=True)
class Triangle:
    headings: list[str]
    rows: list[tuple[MonthRow, list[Cell]]]


def triangle(seen: Observations, rows: list[MonthRow]) -> Triangle:
    """Return the comebacks of these months by steps of days since handover."""
    step = STEP * -(-seen.within // (STEP * MAX_STEPS))
    steps = max(-(-seen.within // step), 1)
    months_shown = [month_number(row.month) for row in rows]
    back = seen.repairs[seen.repairs["is_event"] == 1]
    counts = (
        back.assign(step=np.maximum(back["days"] - 1, 0) // step)
        .pivot_table(index="month", columns="step", values="repair", aggfunc="count")
        .reindex(index=months_shown, columns=range(steps))
        .fillna(0)
        .astype("int64")
    )
    edges = [
        (n * step + bool(n), min((n + 1) * step, seen.within)) for n in range(steps)
    ]
    return Triangle(
        headings=[f"{low}–{high}" for low, high in edges],
        rows=[
            (row, _cells(row, month_counts, edges, seen))
            for row, month_counts in zip(rows, counts.to_numpy().tolist(), strict=True)
        ],
    )


def _cells(
    row: MonthRow, counts: list[int], edges: list[tuple[int, int]], seen: Observations
) -> list[Cell]:
    last = _last_day(month_number(row.month))
    return [
        Cell(
            min_days=low,
            max_days=high,
            count=count,
            repairs=row.repairs,
            has_begun=row.month + timedelta(low) <= seen.as_of,
            is_complete=last + timedelta(high) <= seen.as_of,
        )
        for count, (low, high) in zip(counts, edges, strict=True)
    ]
