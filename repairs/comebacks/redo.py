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


def redone_by_pair(pair: Ints, *, cost: Ints, pairs: int) -> list[Spent]:
    """What the comebacks of each pair have cost. A row is a comeback of `pair`, and its
    cost in 1/10000 of the currency unit or UNPAID.
    """
    paid = cost != UNPAID
    total = np.zeros(pairs, np.int64)
    np.add.at(total, pair[paid], cost[paid])
    jobs = np.bincount(pair[paid], minlength=pairs)
    return [
        Spent(Decimal(amount) / UNIT, n)
        for amount, n in zip(total.tolist(), jobs.tolist(), strict=True)
    ]


def _first(*choices: Spent) -> Spent:
    """The first that rests on any job at all."""
    return next((spent for spent in choices if spent.jobs), Spent())
