"""What it costs the shop to do a repair again, from the comebacks it has paid for."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from repairs.comebacks.watch import Ints
from shopdesk.money import UNIT, rounded

UNPAID = -1  # stands for a cost that is not known yet


@dataclass(frozen=True)
class Spent:
    """Money spent on a number of jobs of one kind."""

    total: Decimal = Decimal(0)
    jobs: int = 0

    def __add__(self, other: "Spent") -> "Spent":
        return Spent(self.total + other.total, self.jobs + other.jobs)

    @property
    def mean(self) -> Decimal:
        return self.total / self.jobs if self.jobs else Decimal(0)


def mean_redo_costs(
    faults: Sequence[Hashable],
    *,
    redone: Sequence[Spent],
    done: Sequence[Spent] = (),
    places: int = 2,
) -> list[Decimal]:
    """The mean cost of a comeback of each pair, rounded to the currency.

    `faults` names the fault of each pair, `redone` holds what the comebacks of that
    pair cost, `done` what its repairs cost in the first place. The mean is over the
    comebacks of the pair; where it had none, over those of its fault; else over the
    shop's; and in a shop that has seen none, over the pair's own repairs: doing it
    again costs about what doing it cost. `done` is not asked for in any other.
    """
    by_fault: dict[Hashable, Spent] = {}
    for fault, spent in zip(faults, redone, strict=True):
        by_fault[fault] = by_fault.get(fault, Spent()) + spent
    everything = sum(redone, Spent())
    firsts = [Spent()] * len(faults) if everything.jobs else done
    return [
        rounded(_first(own, by_fault[fault], everything, first).mean, places=places)
        for fault, own, first in zip(faults, redone, firsts, strict=True)
    ]


def cost_of_redo(
    costs: Sequence[tuple[Hashable, Decimal]], *, fault: Hashable
) -> Decimal | None:
    """What a comeback cost: the repairs of that visit for the fault it came back with.

    Where the bench then wrote it under another fault, all of the visit counts. None
    while the visit has no cost yet: nothing is spent before it is handed back.
    """
    same = [cost for of, cost in costs if of == fault]
    counted = same or [cost for _, cost in costs]
    return sum(counted, Decimal(0)) if counted else None


def redone_by_pair(
    pair: Ints, *, visit: Ints, is_same: Ints, cost: Ints, pairs: int
) -> list[Spent]:
    """What the comebacks of each pair have cost: `cost_of_redo` of many at once.

    A row is a repair made on a visit that was a comeback of `pair`: whether it was for
    the same fault, and its cost in 1/10000 of the currency unit or UNPAID.
    """
    paid = cost != UNPAID
    pair, visit, is_same, cost = (x[paid] for x in (pair, visit, is_same, cost))
    visits, first, number = np.unique(visit, return_index=True, return_inverse=True)
    of_same, of_all = np.zeros(len(visits), np.int64), np.zeros(len(visits), np.int64)
    np.add.at(of_same, number, cost * is_same)
    np.add.at(of_all, number, cost)
    has_same = np.bincount(number, weights=is_same, minlength=len(visits)) > 0
    total = np.zeros(pairs, np.int64)
    np.add.at(total, pair[first], np.where(has_same, of_same, of_all))
    jobs = np.bincount(pair[first], minlength=pairs)
    return [
        Spent(Decimal(amount) / UNIT, n)
        for amount, n in zip(total.tolist(), jobs.tolist(), strict=True)
    ]


def _first(*choices: Spent) -> Spent:
    """The first that rests on any job at all."""
    return next((spent for spent in choices if spent.jobs), Spent())
