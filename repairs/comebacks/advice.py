"""What to change: fixes with too many comebacks, and what would be better."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.rate import Rates
from repairs.comebacks.estimate.verdict import BETTER_THAN_RECORDED

MIN_SUSPECTED = 2  # comebacks with a part from one delivery


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
    comebacks: Mapping[int, int]
    """Its repairs, by the number of their pair."""
    url: str


@dataclass(frozen=True)
class Recommendation:
    """A pair that needs a change, and the fix to compare it with, if any."""

    row: Row
    kind: ActionKind
    other: Row | None = None
    probability: float = 0.0
    """Probability that the other fix is better."""
    suspect: SuspectDelivery | None = None
    """A delivery whose parts were used in most of the comebacks."""
    suspected: int = 0
    """Number of these comebacks."""

    @property
    def label(self) -> str:
        return self.row.mismatch or self.row.verdict


def recommend(rows: Sequence[Row], *, rates: Rates) -> list[Recommendation]:
    """Return pairs with too many comebacks in the order of `rows`, then better ones.

    The better ones last longer than recorded. Another fix is recommended only if it
    does not have too many comebacks itself, has enough repairs, and is better with the
    probability a verdict needs.
    """
    by_fault = defaultdict(list)
    for row in rows:
        by_fault[row.fault_id].append(row)
    worse, better = [], []
    for row in rows:
        if row.has_too_many_comebacks:
            others = [other for other in by_fault[row.fault_id] if other is not row]
            worse.append(_replacement(row, others, rates=rates))
        elif row.mismatch == BETTER_THAN_RECORDED:
            better.append(Recommendation(row, ActionKind.CHANGE_TYPE))
    return worse + better


def _replacement(row: Row, others: list[Row], *, rates: Rates) -> Recommendation:
    if not others:
        return Recommendation(row, ActionKind.NO_OTHER)
    clear = clearly_better(row, others, rates=rates)
    kind = ActionKind.OTHER_FIX if clear else ActionKind.NONE_BETTER
    other = clear[0] if clear else min(others, key=lambda row: row.risk)
    probability = rates.posterior.probability_better(other.number, row.number)
    return Recommendation(row, kind, other=other, probability=probability)


def clearly_better(row: Row, others: Sequence[Row], *, rates: Rates) -> list[Row]:
    """Return the fixes that may be recommended instead, the lowest risk first."""
    better = [
        other
        for other in others
        if not (other.has_too_many_comebacks or other.has_too_few_repairs)
        and rates.posterior.probability_better(other.number, row.number)
        >= rates.confidence
    ]
    return sorted(better, key=lambda other: other.risk)


def better_fixes(
    rows: Sequence[Row], *, rates: Rates
) -> dict[tuple[int, int], list[Row]]:
    """Return what is clearly better than each pair, for those that have something."""
    by_fault = defaultdict(list)
    for row in rows:
        by_fault[row.fault_id].append(row)
    found = {
        row.pair: clearly_better(row, [o for o in same if o is not row], rates=rates)
        for same in by_fault.values()
        for row in same
    }
    return {pair: better for pair, better in found.items() if better}


def with_suspects(
    recommendations: Sequence[Recommendation],
    suspects: Sequence[SuspectDelivery],
) -> list[Recommendation]:
    """Return the same, naming a bad delivery used in most comebacks of a pair.

    The parts may be the cause, and the fix may be good.
    """
    result = []
    for recommendation in recommendations:
        row = recommendation.row
        count, suspect = max(
            (
                (delivery.comebacks.get(row.number, 0), delivery)
                for delivery in suspects
            ),
            key=lambda both: both[0],
            default=(0, None),
        )
        is_most = count >= MIN_SUSPECTED and 2 * count > row.comebacks
        if is_most and row.has_too_many_comebacks:
            recommendation = replace(recommendation, suspect=suspect, suspected=count)
        result.append(recommendation)
    return result
