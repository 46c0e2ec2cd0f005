"""What the database hands over of all repairs: columns of whole numbers."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.watch import NEVER, Counts, Ints, counted


class Fixed(NamedTuple):
    """Columns of the repairs that count: a row for each pair and what was declared."""

    fault: Ints
    fix: Ints
    is_stopgap: Ints
    old: Ints  # repairs handed back as long ago as the horizon, or longer
    young: Ints  # and those handed back since
    ages: Ints  # days since each of the young was handed back, row after row

    @property
    def many(self) -> Ints:
        return self.old + self.young

    def last(self, *, as_of: int) -> Ints:
        """The day the last of the young was handed back; 0 where there are none."""
        least = np.full(len(self.young), as_of, dtype=np.int64)
        row = np.repeat(np.arange(len(least)), self.young)
        np.minimum.at(least, row, self.ages)
        return as_of - least


def only_old_and_even(fixed: Fixed, *, number: Ints, pairs: int) -> NDArray[np.bool_]:
    """The rows of pairs of which stopgap was said as often as not, and no repair is
    young: here alone it must be asked for which was handed back last.
    """
    either = np.where(fixed.is_stopgap == 1, fixed.many, -fixed.many)
    balance = np.bincount(number, weights=either, minlength=pairs)
    young = np.bincount(number, weights=fixed.young, minlength=pairs)
    return np.asarray(((balance == 0) & (young == 0))[number])


class Numbers(NamedTuple):
    """The pairs in the order of their faults and fixes, numbered from 0."""

    keys: Ints
    width: int

    @classmethod
    def of(cls, fault: Ints, fix: Ints) -> "Numbers":
        width = int(fix.max(initial=0)) + 1
        return cls(np.unique(fault * width + fix), width)

    @property
    def fault(self) -> Ints:
        return self.keys // self.width

    @property
    def fix(self) -> Ints:
        return self.keys % self.width

    def number(self, fault: Ints, fix: Ints) -> tuple[Ints, NDArray[np.bool_]]:
        """The number of each pair, and whether it has one: not so where a pair was
        written down after the others had been read.
        """
        key = fault * self.width + fix
        number = np.searchsorted(self.keys, key).clip(max=max(len(self.keys) - 1, 0))
        has_one = np.zeros(len(key), dtype=bool)
        if len(self.keys):
            has_one = (self.keys[number] == key) & (fix < self.width)
        return number, has_one


def watched_so_far(fixed: Fixed, *, number: Ints, pairs: int, within: int) -> Counts:
    """The counts of repairs of which no more is known than when they were handed back:
    watched to the horizon, or until today.
    """
    ages = np.repeat(number, fixed.young)
    still = np.zeros(len(ages), dtype=np.int64)
    counts = counted(ages, t=fixed.ages, d=still, pairs=pairs, within=within)
    through = np.bincount(number, weights=fixed.old, minlength=pairs)
    counts.left[:, within] += through.astype(np.int64)
    return counts


class Ended(NamedTuple):
    """Columns of the repairs on devices that are no longer watched."""

    repair: Ints
    fault: Ints
    fix: Ints
    handed_back: Ints
    watch_ends: Ints


class Returned(NamedTuple):
    """Columns of the comebacks."""

    repair: Ints  # the earlier one
    fault: Ints
    fix: Ints
    handed_back: Ints
    came_back: Ints
    cost: Ints  # in 1/10000 of the currency unit, or UNPAID


class Known(NamedTuple):
    """Columns of the repairs of which more is known than when they were handed back."""

    fault: Ints
    fix: Ints
    handed_back: Ints
    watch_ends: Ints
    came_back: Ints


def known_more_of(ended: Ended, back: Returned) -> Known:
    """What is known of each repair that was not simply watched; of several comebacks
    of one repair the first is counted.
    """
    repairs, first, number = np.unique(
        np.concatenate([ended.repair, back.repair]),
        return_index=True,
        return_inverse=True,
    )
    watch_ends = np.full(len(repairs), NEVER, dtype=np.int64)
    came_back = watch_ends.copy()
    np.minimum.at(watch_ends, number[: len(ended.repair)], ended.watch_ends)
    np.minimum.at(came_back, number[len(ended.repair) :], back.came_back)
    return Known(
        fault=np.concatenate([ended.fault, back.fault])[first],
        fix=np.concatenate([ended.fix, back.fix])[first],
        handed_back=np.concatenate([ended.handed_back, back.handed_back])[first],
        watch_ends=watch_ends,
        came_back=came_back,
    )
