"""Days of follow-up and events of repairs, counted per pair and day.

Days are ordinals (`date.toordinal`). Later sums only need how many repairs of each pair
left the follow-up on each day, so only that is kept.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
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
    """Return the days each repair was followed up, and 1 if it came back, else 0.

    A comeback by `as_of` and within the period ends the follow-up on its day. Otherwise
    it ends on the earliest of `as_of`, the end of the period and the day the device
    went out of use. `NOT_OBSERVED` means no comeback, or a device in use.
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


# --- counting rows from the database ----------------------------------------------


def count_follow_up(
    fixed: pd.DataFrame, observed: pd.DataFrame, *, pairs: int, as_of: int, within: int
) -> Counts:
    """Return the counts of all repairs.

    A row of `fixed` is a number of `repairs` of the pair `number`, of which `ages` (a
    text) has the days since handover of those within the period. `observed` are single
    repairs, counted in `fixed`, that came back or whose device is out of use.
    """
    count = partial(count_exits, pairs=pairs, within=within)
    texts = fixed["ages"].fillna("")
    young = (texts.str.count(",") + (texts != "")).to_numpy(dtype=np.int64)
    days = np.fromstring(",".join(filter(None, texts)), dtype=np.int64, sep=",")
    number = fixed["number"].to_numpy()
    exits = count(np.repeat(number, young), days=days, is_event=0 * days).exits
    old = fixed["repairs"].to_numpy() - young
    completed = np.bincount(number, weights=old, minlength=pairs)
    exits[:, within] += completed.astype(np.int64)
    # As if no comeback and no device out of use had been observed.
    follow = partial(
        follow_up, observed["handed_over"].to_numpy(), as_of=as_of, within=within
    )
    number = observed["number"].to_numpy()
    days, is_event = follow()
    exits -= count(number, days=days, is_event=is_event).exits
    days, is_event = follow(
        out_of_use=observed["out_of_use"].to_numpy(),
        came_back=observed["came_back"].to_numpy(),
    )
    after = count(number, days=days, is_event=is_event)
    return Counts(exits=exits + after.exits, events=after.events)


def merge_observations(ended: pd.DataFrame, comebacks: pd.DataFrame) -> pd.DataFrame:
    """Return one row per repair; of several comebacks of a repair the first counts."""
    both = pd.concat([ended, comebacks]).fillna(
        {"out_of_use": NOT_OBSERVED, "came_back": NOT_OBSERVED}
    )
    keys = both.groupby("repair")[["fault_id", "fix_id", "handed_over"]].first()
    ends = both.groupby("repair")[["out_of_use", "came_back"]].min()
    return keys.join(ends.astype("int64"))


def most_common_type(fixed: pd.DataFrame) -> NDArray[np.bool_]:
    """Return whether each pair was recorded as a stopgap most often.

    A row is a number of `repairs` of the pair `number` recorded alike (`is_stopgap`),
    the last of them handed over on `last`. A tie goes to the latest handover, and to
    stopgap if both were handed over that day.
    """
    votes = fixed.assign(
        balance=np.where(fixed["is_stopgap"], fixed["repairs"], -fixed["repairs"]),
        last=2 * fixed["last"] + fixed["is_stopgap"],
    ).groupby("number")
    balance, last = votes["balance"].sum(), votes["last"].max()
    return np.where(balance == 0, last % 2 == 1, balance > 0)
