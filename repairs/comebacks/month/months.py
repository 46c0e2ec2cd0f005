"""The repairs by the month they were handed back in, and how each month does."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from repairs.comebacks.month.coming import hazard_ahead, likely
from repairs.comebacks.month.limits import p_chart
from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.rows import between, share
from repairs.comebacks.watch import Ints

SHOWN = 24  # months at most
LEAST_MONTHS = 2  # complete ones, to draw limits from
ROUGH = 12  # with fewer the limits are rough

ABOVE = "above its limits"
BELOW = "below its limits"
WITHIN = "within its limits"
INCOMPLETE = "not complete"
ALONE = "complete"


@dataclass(frozen=True)
class MonthRow:
    """A month's repairs; `low` and `high` are limits only where it is complete."""

    month: date
    repairs: int
    returned: int
    is_complete: bool
    still_watched: int
    still_expected: float
    low: float | None = None
    high: float | None = None

    @property
    def said(self) -> str:
        return said(self.month)

    @property
    def share(self) -> float:
        return self.returned / max(self.repairs, 1)

    @property
    def in_the_end(self) -> float:
        """The share to be expected once the month is complete."""
        return min((self.returned + self.still_expected) / max(self.repairs, 1), 1.0)

    @property
    def word(self) -> str:
        if not self.is_complete:
            return INCOMPLETE
        if self.low is None or self.high is None:
            return ALONE
        if self.share > self.high:
            return ABOVE
        return BELOW if self.share < self.low else WITHIN

    @property
    def is_above(self) -> bool:
        return self.word == ABOVE

    @property
    def share_said(self) -> str:
        return share(self.share)

    @property
    def limits_said(self) -> str:
        if self.low is None or self.high is None:
            return ""
        return between(self.low, self.high)

    @property
    def still_expected_said(self) -> str:
        return f"{self.still_expected:.1f}"

    @property
    def in_the_end_said(self) -> str:
        return share(self.in_the_end)


@dataclass(frozen=True)
class Months:
    rows: list[MonthRow]
    centre: float | None
    """The share of all complete months; None while there are too few for limits."""

    @property
    def complete(self) -> int:
        return sum(row.is_complete for row in self.rows)

    @property
    def is_rough(self) -> bool:
        return self.complete < ROUGH

    @property
    def centre_said(self) -> str:
        return "" if self.centre is None else share(self.centre)


def months(seen: Seen, known: Known) -> Months:
    """The latest months up to that day, whether or not anything was handed back."""
    number = month_numbers(seen.handed_back)
    last = _number(seen.as_of)
    first = max(int(number.min(initial=last)), last - SHOWN + 1)
    count = last - first + 1
    keep = number >= first
    spot = number[keep] - first
    repairs = np.bincount(spot, minlength=count)
    returned = np.bincount(spot[seen.d[keep] == 1], minlength=count)
    watched = seen.is_watched
    still = np.bincount(spot[watched[keep]], minlength=count)
    ahead = hazard_ahead(seen, known, days=seen.within)
    chances = np.zeros(len(watched))
    chances[watched] = likely(
        known.posterior, pair=seen.pair[watched], hazard=ahead[watched]
    )
    expected = np.bincount(spot, weights=chances[keep], minlength=count)
    days = [day_of(first + n) for n in range(count)]
    is_complete = np.array(
        [last_of(day) + timedelta(seen.within) <= seen.as_of for day in days]
    )
    judged = is_complete & (repairs > 0)
    has_limits = int(judged.sum()) >= LEAST_MONTHS
    chart = p_chart(returned[judged], of=repairs[judged])
    spots = np.cumsum(judged) - 1
    rows = [
        MonthRow(
            month=day,
            repairs=int(repairs[n]),
            returned=int(returned[n]),
            is_complete=bool(is_complete[n]),
            still_watched=int(still[n]),
            still_expected=float(expected[n]),
            low=float(chart.low[spots[n]]) if has_limits and judged[n] else None,
            high=float(chart.high[spots[n]]) if has_limits and judged[n] else None,
        )
        for n, day in enumerate(days)
    ]
    return Months(rows, centre=chart.centre if has_limits else None)


def month_numbers(days: Ints) -> Ints:
    """Months since the year 1 of day numbers, by one look at each day that occurs."""
    each, spot = np.unique(days, return_inverse=True)
    numbers = [_number(date.fromordinal(day)) for day in each.tolist()]
    return np.array(numbers, dtype=np.int64)[spot.reshape(-1)]


def day_of(number: int) -> date:
    """The first day of a month by its number."""
    return date(number // 12 + 1, number % 12 + 1, 1)


def said(month: date) -> str:
    return f"{month:%b %Y}"


def month_before(day: date) -> date:
    """The last day of the month before this day's."""
    return day.replace(day=1) - timedelta(days=1)


def _number(day: date) -> int:
    return (day.year - 1) * 12 + day.month - 1


def last_of(month: date) -> date:
    """The last day of a month by its first."""
    return day_of(_number(month) + 1) - timedelta(days=1)
