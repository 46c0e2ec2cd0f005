"""Cover: days counted from handing back, in local dates.

The day of handing back is day 0; the last day of cover is included.
"""

from datetime import date, timedelta


def warranty_until(handed_back: date, *, days: int) -> date:
    """The last day of cover."""
    return handed_back + timedelta(days=days)


def is_in_warranty(on: date, *, until: date | None) -> bool:
    """Whether a promise that ends on `until` still holds on the day `on`."""
    return until is not None and on <= until


def rework_warranty_until(
    handed_back: date, *, old_until: date, rest_days: int
) -> date:
    """The last day of cover after a redo under cover.

    A redo starts no new cover: the rest of the old one runs on, at least `rest_days`.
    """
    return max(old_until, handed_back + timedelta(days=rest_days))
