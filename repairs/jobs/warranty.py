"""The warranty on a repair: days counted from handover, in local dates.

The day of handover is day 0; the last day is included.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeVar

Fault = TypeVar("Fault")


@dataclass(frozen=True)
class Promise:
    """The days of warranty from handover, and the last of them."""

    days: int
    until: date


def promise(
    handed_over: date,
    *,
    days: int,
    continued_until: date | None = None,
    min_days: int = 0,
) -> Promise:
    """Return the warranty on a repair that is handed over on that day.

    A warranty repair starts no new warranty: the rest of the old one, which ends on
    `continued_until`, runs on, for at least `min_days`.
    """
    if continued_until is None:
        return Promise(days, warranty_until(handed_over, days=days))
    until = rework_warranty_until(
        handed_over, old_until=continued_until, rest_days=min_days
    )
    return Promise((until - handed_over).days, until)


def covered(faults: Sequence[Fault], *, by: Fault | None) -> list[bool]:
    """Return which repairs of a visit, given by their faults, a warranty covers.

    `by` is the fault of the earlier repair whose warranty is in force; None if there is
    none. It covers that fault and no other. Where the bench recorded the fault that is
    back under another name only, it covers all of the visit.
    """
    if by is None:
        return [False] * len(faults)
    same = [fault == by for fault in faults]
    return same if any(same) else [True] * len(faults)


def warranty_until(handed_over: date, *, days: int) -> date:
    """Return the last day of warranty."""
    return handed_over + timedelta(days=days)


def rework_warranty_until(
    handed_over: date, *, old_until: date, rest_days: int
) -> date:
    """Return the last day of warranty after a warranty repair."""
    return max(old_until, warranty_until(handed_over, days=rest_days))


def is_in_warranty(on: date, *, until: date | None) -> bool:
    """Return whether a warranty that ends on `until` is in force on the day `on`."""
    return until is not None and on <= until
