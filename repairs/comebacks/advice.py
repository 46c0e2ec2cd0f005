"""What to change: fixes with too many comebacks, and what is better in their place."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate import verdict
from repairs.comebacks.estimate.comparison import probability_better
from repairs.comebacks.estimate.posterior import Posterior

MIN_SUSPECTED = 2  # comebacks with a part of one delivery


class ActionKind(Enum):
    """What can be done about a pair."""

    OTHER_FIX = "another fix of the fault is clearly better"
    NONE_BETTER = "there are other fixes, but none is clearly better"
    NO_OTHER = "there is no other fix"
    CHANGE_TYPE = "recorded as a stopgap, but reliable"


@dataclass(frozen=True)
class SuspectDelivery:
    """A delivery with too many comebacks."""

    name: str
    repairs: frozenset[int]
    """The ids of its repairs that came back."""
    url: str


@dataclass(frozen=True)
class Recommendation:
    """A pair that needs a change, and the fix to compare it with, if there is one."""

    row: Row
    kind: ActionKind
    other: Row | None = None
    probability: float = 0.0
    """That the other fix is better."""
    suspect: SuspectDelivery | None = None
    """A delivery whose parts are in most of the comebacks."""
    suspected: int = 0
    """In how many of them."""

    @property
    def label(self) -> str:
        return self.row.mismatch or self.row.verdict


def recommend(
    rows: Sequence[Row], *, posterior: Posterior, confidence: float
) -> list[Recommendation]:
    """Return too many comebacks in the order of `rows`, then lasts better.

    Another fix is recommended only where it does not have too many comebacks itself,
    has enough repairs, and is better with the probability a verdict needs.
    """
    by_fault = defaultdict(list)
    for row in rows:
        by_fault[row.fault_id].append(row)
    worse, better = [], []
    for row in rows:
        if row.has_too_many_comebacks:
            others = [
                (
                    probability_better(
                        posterior, first=other.number, second=row.number
                    ),
                    other,
                )
                for other in by_fault[row.fault_id]
                if other.number != row.number
            ]
            worse.append(_replacement(row, others, confidence=confidence))
        elif row.mismatch == verdict.BETTER_THAN_RECORDED:
            better.append(Recommendation(row, ActionKind.CHANGE_TYPE))
    return worse + better


def _replacement(
    row: Row, others: list[tuple[float, Row]], *, confidence: float
) -> Recommendation:
    if not others:
        return Recommendation(row, ActionKind.NO_OTHER)
    clear = [
        (probability, other)
        for probability, other in others
        if probability >= confidence
        and not (other.has_too_many_comebacks or other.has_too_few_repairs)
    ]
    kind = ActionKind.OTHER_FIX if clear else ActionKind.NONE_BETTER
    probability, other = min(clear or others, key=lambda each: each[1].risk)
    return Recommendation(row, kind, other=other, probability=probability)


def with_suspects(
    recommendations: Sequence[Recommendation],
    *,
    repairs_back: Mapping[tuple[int, int], frozenset[int]],
    suspects: Sequence[SuspectDelivery],
) -> list[Recommendation]:
    """Return the same, naming a bad delivery behind most comebacks of a pair.

    The fix may be good, and the parts were not. `repairs_back` are the repairs of each
    pair (fault and fix) that came back.
    """
    result = []
    for one in recommendations:
        repairs = repairs_back.get(one.row.pair, frozenset())
        count, suspect = max(
            ((len(repairs & suspect.repairs), suspect) for suspect in suspects),
            key=lambda both: both[0],
            default=(0, None),
        )
        is_most = count >= MIN_SUSPECTED and 2 * count > len(repairs)
        if is_most and one.row.has_too_many_comebacks:
            one = replace(one, suspect=suspect, suspected=count)
        result.append(one)
    return result
