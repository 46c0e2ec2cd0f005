"""What it costs the shop to do a repair again, from the comebacks it has paid for."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import rounded


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
    done: Sequence[Spent],
    places: int = 2,
) -> list[Decimal]:
    """The mean cost of a comeback of each pair, rounded to the currency.

    `faults` names the fault of each pair, `redone` holds what the comebacks of that
    pair cost, `done` what its repairs cost in the first place. The mean is over the
    comebacks of the pair; where it had none, over those of its fault; else over the
    shop's; and in a shop that has seen none, over the pair's own repairs: doing it
    again costs about what doing it cost.
    """
    by_fault: dict[Hashable, Spent] = {}
    for fault, spent in zip(faults, redone, strict=True):
        by_fault[fault] = by_fault.get(fault, Spent()) + spent
    everything = sum(redone, Spent())
    return [
        rounded(_first(own, by_fault[fault], everything, first).mean, places=places)
        for fault, own, first in zip(faults, redone, done, strict=True)
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


def in_order_of_pairs(by_pair: Mapping[int, Spent], *, pairs: int) -> list[Spent]:
    """One entry a pair, in the order of their numbers; nothing spent where none is."""
    return [by_pair.get(pair, Spent()) for pair in range(pairs)]


def _first(*choices: Spent) -> Spent:
    """The first that rests on any job at all."""
    return next((spent for spent in choices if spent.jobs), Spent())
