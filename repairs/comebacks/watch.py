"""How long each repair was watched, and whether it came back: three integers a repair.

Pure counting. `t` is the days a repair was watched since it was handed back, `d` is
1 if the same fault came back within the horizon. All later sums need only how many
repairs of each pair left the watch on each day, so that is kept and nothing else.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

NEVER = np.iinfo(np.int32).max  # a day number no calendar reaches


def days_watched(
    handed_back: Ints,
    *,
    as_of: int,
    within: int,
    came_back: Ints | int = NEVER,
    watch_ends: Ints | int = NEVER,
) -> tuple[Ints, Ints]:
    """Days watched and comeback mark of each repair; all days are day numbers.

    A comeback seen by `as_of` and within the horizon ends the watch on its day. Else
    it ends on the earliest of `as_of`, the horizon and the end of watching. `NEVER`
    stands for no comeback and for no end.
    """
    back_after = np.maximum(came_back - handed_back, 0)
    is_back = (came_back <= as_of) & (back_after <= within)
    end = np.minimum(np.minimum(watch_ends, as_of), handed_back + within)
    t = np.where(is_back, back_after, np.maximum(end - handed_back, 0))
    return t.astype(np.int64), is_back.astype(np.int64)


@dataclass(frozen=True)
class Counts:
    """Repairs of each pair (row) that left the watch on each day 0…H (column).

    `left` counts all of them, `back` those that left by coming back. A repair watched
    all through leaves on the last day without coming back.
    """

    left: Ints
    back: Ints

    def of(self, rows: Sequence[int]) -> "Counts":
        """These pairs alone, in this order."""
        keep = list(rows)
        return Counts(left=self.left[keep], back=self.back[keep])

    def moved(
        self, pair: Ints, *, from_: tuple[Ints, Ints], to: tuple[Ints, Ints]
    ) -> "Counts":
        """These counts where some repairs, so far counted by what `days_watched` first
        said of them, are counted by what it said later.
        """
        out, into = (
            counted(pair, t=t, d=d, pairs=len(self.left), within=self.within)
            for t, d in (from_, to)
        )
        return Counts(
            left=self.left - out.left + into.left,
            back=self.back - out.back + into.back,
        )

    @property
    def within(self) -> int:
        return int(self.left.shape[1]) - 1

    @property
    def repairs(self) -> Ints:
        return np.asarray(self.left.sum(axis=1))

    @property
    def returned(self) -> Ints:
        return np.asarray(self.back.sum(axis=1))

    @property
    def watched_through(self) -> Ints:
        """Repairs seen to hold on the last day: at risk just after the horizon."""
        return np.asarray(self.left[:, -1] - self.back[:, -1])

    @property
    def judged(self) -> Ints:
        """Repairs that count in full at the horizon: watched through, or come back."""
        return self.watched_through + self.returned

    @property
    def at_risk(self) -> Ints:
        """Repairs of each pair still watched at the start of each day."""
        return np.asarray(self.left[:, ::-1].cumsum(axis=1)[:, ::-1])

    @property
    def longest_watch(self) -> int:
        """The last day on which any repair was still watched; 0 if there is none."""
        days = np.flatnonzero(self.left.sum(axis=0))
        return int(days[-1]) if days.size else 0


def counted(pair: Ints, *, t: Ints, d: Ints, pairs: int, within: int) -> Counts:
    """The counts of `pairs` pairs numbered from 0, out of three integers a repair."""
    cells = pairs * (within + 1)
    spot = pair * (within + 1) + t
    left = np.bincount(spot, minlength=cells)
    back = np.bincount(spot[d == 1], minlength=cells)
    shape = (pairs, within + 1)
    return Counts(left=left.reshape(shape), back=back.reshape(shape))
