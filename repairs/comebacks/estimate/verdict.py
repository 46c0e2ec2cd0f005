"""The verdict on each pair, and whether it contradicts the recorded type."""

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.watch import Floats, Ints
from repairs.faults.fix_types import LASTING, STOPGAP

TOO_MANY_COMEBACKS = "too many comebacks"
NOT_ENOUGH_REPAIRS = "not enough repairs"
RELIABLE = "reliable"
BORDERLINE = "borderline"
VERDICTS = (TOO_MANY_COMEBACKS, NOT_ENOUGH_REPAIRS, RELIABLE, BORDERLINE)

WORSE_THAN_RECORDED = "performs like a stopgap"
BETTER_THAN_RECORDED = "lasts better than recorded"

MIN_COMEBACKS = 2  # one comeback may be bad luck
# The share of the accepted doubt that is allowed before a fix has too many comebacks.
# In simulated shops (tests/benchmarks) this keeps false verdicts below 3 in 1000 even
# if the fixes do not form two groups, and misses 2 to 4 in 100 true ones.
VERDICT_DOUBT_FACTOR = 0.7
MAX_OWN_WIDTH = 0.5  # with a wider interval of the own risk there is no verdict


def assign_verdicts(
    *,
    comebacks: Ints,
    probability_above: Floats,
    own_width: Floats,
    is_own_risk_above: NDArray[np.bool_],
    confidence: float,
) -> NDArray[np.object_]:
    """Return a verdict per pair.

    The order matters: a pair shown to have too many comebacks is called so even if its
    repairs are few; one that merely was not shown to is not called reliable. Nor is one
    whose own comeback rate is above the limit, however good its group.
    """
    return np.select(
        [
            (1.0 - probability_above <= VERDICT_DOUBT_FACTOR * (1.0 - confidence))
            & (comebacks >= MIN_COMEBACKS),
            own_width > MAX_OWN_WIDTH,
            (1.0 - probability_above >= confidence) & ~is_own_risk_above,
        ],
        [TOO_MANY_COMEBACKS, NOT_ENOUGH_REPAIRS, RELIABLE],
        default=BORDERLINE,
    ).astype(object)


def mismatch(*, fix_type: str, verdict: str) -> str:
    """Return how the results contradict the recorded type, or an empty text."""
    if fix_type == LASTING and verdict == TOO_MANY_COMEBACKS:
        return WORSE_THAN_RECORDED
    if fix_type == STOPGAP and verdict == RELIABLE:
        return BETTER_THAN_RECORDED
    return ""
