"""What to change: the fixes that come back, and what holds better in their place."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from repairs.comebacks import verdict
from repairs.comebacks.compare import chance_first_is_better
from repairs.comebacks.posterior import Posterior
from repairs.comebacks.rows import Row, share
from repairs.faults.declared import LASTING

LEAST_SUSPECTED = 2  # comebacks with a part of one delivery


class Way(Enum):
    """What can be done about a pair."""

    OTHER = "another fix of the fault surely holds better"
    UNSURE = "others were done, and none surely holds better"
    ALONE = "nothing else was ever done for the fault"
    LASTING = "a declared stopgap that holds"


@dataclass(frozen=True)
class Suspect:
    """A delivery that returns too often, and its repairs that came back."""

    name: str
    back: frozenset[int]
    evidence: str
    """The address of its repairs."""


@dataclass(frozen=True)
class Advice:
    """A pair that asks for a change, and the fix to set beside it if there is one."""

    row: Row
    way: Way
    other: Row | None = None
    chance: float = 0.0
    """How probable it is that the other holds better."""
    suspect: Suspect | None = None
    """A bad delivery that most of the comebacks had a part of."""
    suspected: int = 0
    """How many of them did."""

    @property
    def word(self) -> str:
        return self.row.flag or self.row.verdict

    @property
    def is_other(self) -> bool:
        return self.way is Way.OTHER

    @property
    def is_alone(self) -> bool:
        return self.way is Way.ALONE

    @property
    def is_better(self) -> bool:
        return self.way is Way.LASTING

    @property
    def is_lasting(self) -> bool:
        return self.row.declared == LASTING

    @property
    def chance_said(self) -> str:
        return share(self.chance)


def advised(
    rows: list[Row], *, numbers: list[int], known: Posterior, verdict_confidence: float
) -> list[Advice]:
    """What comes back, in the order of `rows`, then what is better than declared.

    `numbers` are the rows' places in `known`. Another fix is advised only where it does
    not come back itself, was done often enough to tell, and holds better with the
    shop's verdict_confidence.
    """
    of_fault = defaultdict(list)
    for row, number in zip(rows, numbers, strict=True):
        of_fault[row.pair.fault_id].append((row, number))
    back, better = [], []
    for row, number in zip(rows, numbers, strict=True):
        if row.is_hot:
            others = [
                (chance_first_is_better(known, first=other, second=number), one)
                for one, other in of_fault[row.pair.fault_id]
                if other != number
            ]
            back.append(_instead(row, others, verdict_confidence=verdict_confidence))
        elif row.flag == verdict.BETTER_THAN_DECLARED:
            better.append(Advice(row, Way.LASTING))
    return back + better


def _instead(
    row: Row, others: list[tuple[float, Row]], *, verdict_confidence: float
) -> Advice:
    if not others:
        return Advice(row, Way.ALONE)
    sure = [
        (chance, one)
        for chance, one in others
        if chance >= verdict_confidence and not (one.is_hot or one.is_open)
    ]
    way = Way.OTHER if sure else Way.UNSURE
    chance, other = min(sure or others, key=lambda found: found[1].risk)
    return Advice(row, way, other=other, chance=chance)


def suspecting(
    advice: Sequence[Advice],
    *,
    back: Mapping[tuple[int, int], frozenset[int]],
    suspects: Sequence[Suspect],
) -> list[Advice]:
    """The same, where a bad delivery had a part in most comebacks of a pair saying so:
    the fix may be good, and the parts were not.

    `back` are the repairs that came back of each pair, by its fault and fix.
    """
    found = []
    for one in advice:
        of_pair = back.get(one.row.pair[:2], frozenset())
        many, suspect = max(
            ((len(of_pair & suspect.back), suspect) for suspect in suspects),
            key=lambda both: both[0],
            default=(0, None),
        )
        is_most = one.row.is_hot and many >= LEAST_SUSPECTED and 2 * many > len(of_pair)
        found.append(replace(one, suspect=suspect, suspected=many) if is_most else one)
    return found
