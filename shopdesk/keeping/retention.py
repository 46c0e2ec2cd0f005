"""Which of the nightly backups are kept."""

from collections.abc import Callable, Collection
from datetime import date
from typing import NamedTuple


class Keep(NamedTuple):
    """How many backups to keep: the latest, and the last one of weeks and months."""

    daily: int = 7
    weekly: int = 4
    monthly: int = 12


def kept(days: Collection[date], *, keep: Keep) -> set[date]:
    """Return the days whose backups are kept: of `days` with a backup, the latest
    `daily`, and the last one in each of the latest `weekly` weeks (ISO 8601) and
    `monthly` months with a backup.
    """
    periods: list[tuple[int, Callable[[date], tuple[int, int]]]] = [
        (keep.weekly, lambda day: day.isocalendar()[:2]),
        (keep.monthly, lambda day: (day.year, day.month)),
    ]
    chosen = set(sorted(days)[-keep.daily :] if keep.daily else [])
    for count, period in periods:
        last = {period(day): day for day in sorted(days)}
        chosen |= set(sorted(last.values())[-count:] if count else [])
    return chosen
