"""What the database hands over of all repairs: columns of whole numbers."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.watch import NEVER, Ints


class Fixed(NamedTuple):
    """Columns of the repairs that count, in the order of the days handed back."""

    days: Ints  # each day on which any was
    many: Ints  # and how many were
    repair: Ints
    key: Ints  # of the pair
    is_stopgap: NDArray[np.int8]  # as declared

    @property
    def handed_back(self) -> Ints:
        return np.repeat(self.days, self.many)

    def day_of(self, places: Ints) -> Ints:
        """Which of the days is that of the repairs that stand there."""
        return np.searchsorted(np.cumsum(self.many), places, side="right")

    def places(self, repairs: Ints) -> tuple[Ints, NDArray[np.bool_]]:
        """Where these repairs stand here, and which of them stand here at all."""
        if not len(self.repair):
            return np.zeros(len(repairs), np.int64), np.zeros(len(repairs), bool)
        order = np.argsort(self.repair, kind="stable")
        spot = np.searchsorted(self.repair, repairs, sorter=order)
        at = order[np.minimum(spot, len(order) - 1)]
        return at, self.repair[at] == repairs


class Ended(NamedTuple):
    """Columns of the repairs on devices that are no longer watched."""

    repair: Ints
    watch_ends: Ints


class Returned(NamedTuple):
    """Columns of the comebacks: a row for each repair made on such a visit."""

    repair: Ints  # the earlier one
    visit: Ints
    came_back: Ints
    fault: Ints  # of the repair on the visit, and what it cost
    cost: Ints


class Known(NamedTuple):
    """Columns of the repairs of which more is known than when they were handed back."""

    at: Ints  # where they stand among all
    handed_back: Ints
    watch_ends: Ints
    came_back: Ints


def known_more_of(fixed: Fixed, ended: Ended, back: Returned) -> Known:
    """What is known of each repair that was not simply watched; of several comebacks
    of one repair the first is counted.
    """
    repairs, number = np.unique(
        np.concatenate([ended.repair, back.repair]), return_inverse=True
    )
    watch_ends = np.full(len(repairs), NEVER, dtype=np.int64)
    came_back = watch_ends.copy()
    np.minimum.at(watch_ends, number[: len(ended.repair)], ended.watch_ends)
    np.minimum.at(came_back, number[len(ended.repair) :], back.came_back)
    at, is_there = fixed.places(repairs)
    return Known(
        at=at[is_there],
        handed_back=fixed.days[fixed.day_of(at[is_there])],
        watch_ends=watch_ends[is_there],
        came_back=came_back[is_there],
    )
