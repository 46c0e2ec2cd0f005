"""Days followed up and events of repairs, counted per pair and day.

Days are ordinals (`date.toordinal`). All later sums need only how many repairs of each
pair left the follow-up on each day, so that is kept and nothing else.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

NOT_OBSERVED = np.iinfo(np.int32).max  # an ordinal beyond every calendar


def follow_up(
    handed_over: Ints,
    *,
    as_of: int,
    within: int,
    came_back: Ints | int = NOT_OBSERVED,
    out_of_use: Ints | int = NOT_OBSERVED,
) -> tuple[Ints, Ints]:
    """Return the days each repair was followed up, and 1 where it came back, else 0.

    A comeback by `as_of` and within the period ends the follow-up on its day. Otherwise
    it ends on the earliest of `as_of`, the end of the period and the day the device
    went out of use. `NOT_OBSERVED` stands for no comeback and for a device in use.
    """
    days_to_comeback = np.maximum(came_back - handed_over, 0)
    is_event = (came_back <= as_of) & (days_to_comeback <= within)
    end = np.minimum(np.minimum(out_of_use, as_of), handed_over + within)
    days = np.where(is_event, days_to_comeback, np.maximum(end - handed_over, 0))
    return days.astype(np.int64), is_event.astype(np.int64)


@dataclass(frozen=True)
class Counts:
    """Repairs of each pair (row) that left the follow-up on each day 0…H (column).

    `exits` counts all of them, `events` those that left by coming back. A repair
    followed up for the whole period leaves on the last day without an event.
    """

    exits: Ints
    events: Ints

    def select(self, rows: Sequence[int] | Ints) -> "Counts":
        """Return the counts of these pairs, in this order."""
        keep = np.asarray(rows, dtype=np.int64)
        return Counts(exits=self.exits[keep], events=self.events[keep])

    def moved(
        self, pair: Ints, *, from_: tuple[Ints, Ints], to: tuple[Ints, Ints]
    ) -> "Counts":
        """Return the counts with some repairs moved from one follow-up to another.

        `from_` and `to` are what `follow_up` gave for them, with less and with more
        information.
        """
        out, into = (
            count_exits(
                pair,
                days=days,
                is_event=is_event,
                pairs=len(self.exits),
                within=self.within,
            )
            for days, is_event in (from_, to)
        )
        return Counts(
            exits=self.exits - out.exits + into.exits,
            events=self.events - out.events + into.events,
        )

    @property
    def within(self) -> int:
        return int(self.exits.shape[1]) - 1

    @property
    def repairs(self) -> Ints:
        return np.asarray(self.exits.sum(axis=1))

    @property
    def comebacks(self) -> Ints:
        return np.asarray(self.events.sum(axis=1))

    @property
    def completed(self) -> Ints:
        """Repairs without an event on the last day: at risk just after the period."""
        return np.asarray(self.exits[:, -1] - self.events[:, -1])

    @property
    def followed_up(self) -> Ints:
        """Repairs with complete follow-up: the whole period, or until a comeback."""
        return self.completed + self.comebacks

    @property
    def at_risk(self) -> Ints:
        """Repairs of each pair still in follow-up at the start of each day."""
        return np.asarray(self.exits[:, ::-1].cumsum(axis=1)[:, ::-1])

    @property
    def longest_follow_up(self) -> int:
        """The last day on which any repair was in follow-up; 0 if there is none."""
        days = np.flatnonzero(self.exits.sum(axis=0))
        return int(days[-1]) if days.size else 0


def count_exits(
    pair: Ints, *, days: Ints, is_event: Ints, pairs: int, within: int
) -> Counts:
    """Return the counts of `pairs` pairs numbered from 0. One entry per repair."""
    cells = pairs * (within + 1)
    cell = pair * (within + 1) + days
    exits = np.bincount(cell, minlength=cells)
    events = np.bincount(cell[is_event == 1], minlength=cells)
    shape = (pairs, within + 1)
    return Counts(exits=exits.reshape(shape), events=events.reshape(shape))


# --- counting what the database hands over --------------------------------------


class FixedRepairs(NamedTuple):
    """Repairs that count: a row per pair and recorded type."""

    fault: Ints
    fix: Ints
    is_stopgap: Ints
    old: Ints  # handed over at least the whole period ago
    young: Ints  # handed over since
    ages: Ints  # days since handover of each of the young, row after row

    @property
    def repairs(self) -> Ints:
        return self.old + self.young

    def last_handover(self, *, as_of: int) -> Ints:
        """Return the day of the last handover of the young; 0 where there are none."""
        age = np.full(len(self.young), as_of, dtype=np.int64)
        row = np.repeat(np.arange(len(age)), self.young)
        np.minimum.at(age, row, self.ages)
        return as_of - age

    def counts(self, *, number: Ints, pairs: int, within: int) -> Counts:
        """Return the counts as if no repair came back and every device is in use."""
        ages = np.repeat(number, self.young)
        counts = count_exits(
            ages,
            days=self.ages,
            is_event=np.zeros(len(ages), dtype=np.int64),
            pairs=pairs,
            within=within,
        )
        completed = np.bincount(number, weights=self.old, minlength=pairs)
        counts.exits[:, within] += completed.astype(np.int64)
        return counts


class PairNumbers(NamedTuple):
    """Pairs in the order of their fault and fix, numbered from 0."""

    keys: Ints
    width: int

    @classmethod
    def of(cls, fault: Ints, fix: Ints) -> "PairNumbers":
        width = int(fix.max(initial=0)) + 1
        return cls(np.unique(fault * width + fix), width)

    @property
    def fault(self) -> Ints:
        return self.keys // self.width

    @property
    def fix(self) -> Ints:
        return self.keys % self.width

    def number(self, fault: Ints, fix: Ints) -> tuple[Ints, NDArray[np.bool_]]:
        """Return the number of each pair, and whether it has one.

        A pair that was saved after the others had been read has none.
        """
        key = fault * self.width + fix
        number = np.searchsorted(self.keys, key).clip(max=max(len(self.keys) - 1, 0))
        has_one = np.zeros(len(key), dtype=bool)
        if len(self.keys):
            has_one = (self.keys[number] == key) & (fix < self.width)
        return number, has_one


class OutOfUse(NamedTuple):
    """Repairs on devices that are out of use."""

    repair: Ints
    fault: Ints
    fix: Ints
    handed_over: Ints
    out_of_use: Ints


class ComebackRows(NamedTuple):
    """Comebacks; `repair` is the earlier repair."""

    repair: Ints
    fault: Ints
    fix: Ints
    handed_over: Ints
    came_back: Ints
    cost: Ints  # in 1/10000 of the currency unit, or UNPAID


class Observed(NamedTuple):
    """Repairs of which more is known than their day of handover."""

    fault: Ints
    fix: Ints
    handed_over: Ints
    out_of_use: Ints
    came_back: Ints


def merge_observations(ended: OutOfUse, comebacks: ComebackRows) -> Observed:
    """Return one row per repair; of several comebacks of a repair the first counts."""
    repairs, first, number = np.unique(
        np.concatenate([ended.repair, comebacks.repair]),
        return_index=True,
        return_inverse=True,
    )
    out_of_use = np.full(len(repairs), NOT_OBSERVED, dtype=np.int64)
    came_back = out_of_use.copy()
    np.minimum.at(out_of_use, number[: len(ended.repair)], ended.out_of_use)
    np.minimum.at(came_back, number[len(ended.repair) :], comebacks.came_back)
    return Observed(
        fault=np.concatenate([ended.fault, comebacks.fault])[first],
        fix=np.concatenate([ended.fix, comebacks.fix])[first],
        handed_over=np.concatenate([ended.handed_over, comebacks.handed_over])[first],
        out_of_use=out_of_use,
        came_back=came_back,
    )


def is_undecided_type(
    fixed: FixedRepairs, *, number: Ints, pairs: int
) -> NDArray[np.bool_]:
    """Return the rows of pairs with as many stopgaps as lasting and no young repair.

    Only there the database must be asked which was handed over last.
    """
    signed = np.where(fixed.is_stopgap == 1, fixed.repairs, -fixed.repairs)
    balance = np.bincount(number, weights=signed, minlength=pairs)
    young = np.bincount(number, weights=fixed.young, minlength=pairs)
    return np.asarray(((balance == 0) & (young == 0))[number])


def most_common_type(
    pair: Ints, *, is_stopgap: Ints, repairs: Ints, handed_over: Ints, pairs: int
) -> NDArray[np.bool_]:
    """Return whether each pair was recorded as a stopgap most often.

    A tie goes to the latest handover, and to stopgap where both were handed over that
    day. A row is so many repairs of one recorded type and the day of the last of them.
    """
    stopgaps = np.bincount(pair, weights=is_stopgap * repairs, minlength=pairs)
    balance = 2 * stopgaps - np.bincount(pair, weights=repairs, minlength=pairs)
    last = np.zeros(pairs, dtype=np.int64)
    np.maximum.at(last, pair, 2 * handed_over + is_stopgap)
    return np.asarray(np.where(balance == 0, last % 2 == 1, balance > 0))
