"""What the owner is told of a pair, in one of four words, and when to look twice."""

import numpy as np
from numpy.typing import NDArray

from repairs.comebacks.watch import Floats, Ints
from repairs.faults.declared import LASTING, STOPGAP

COMES_BACK = "comes back"
TOO_FEW = "too few to tell"
HOLDS = "holds"
BETWEEN = "between"
WORDS = (COMES_BACK, TOO_FEW, HOLDS, BETWEEN)

ACTS_AS_STOPGAP = "acts as a stopgap"
BETTER_THAN_DECLARED = "better than declared"

LEAST_RETURNS = 2  # one comeback may be bad luck; nobody is accused by one
# Of the doubt that the shop allows, so much before a fix is accused. In simulated shops
# (tests/benchmarks) this keeps false accusations below 3 in 1000 even where the fixes
# are no two groups, at the price of 2 to 4 in 100 true ones.
DOUBT_TO_ACCUSE = 0.7
WIDEST = 0.5  # own limits wider than this tell nothing


def verdicts(
    *,
    returned: Ints,
    over_limit: Floats,
    alone_width: Floats,
    is_over_alone: NDArray[np.bool_],
    verdict_confidence: float,
) -> NDArray[np.object_]:
    """A word a pair. The order matters: a fix seen to come back is said to, though
    its own repairs are few; one that merely was not seen to is not said to hold.
    Nor is one whose own repairs alone came back more often than the limit
    (`is_over_alone`), however good the company that it is drawn towards.
    """
    return np.select(
        [
            (1.0 - over_limit <= DOUBT_TO_ACCUSE * (1.0 - verdict_confidence))
            & (returned >= LEAST_RETURNS),
            alone_width > WIDEST,
            (1.0 - over_limit >= verdict_confidence) & ~is_over_alone,
        ],
        [COMES_BACK, TOO_FEW, HOLDS],
        default=BETWEEN,
    ).astype(object)


def flag(*, declared: str, verdict: str) -> str:
    """Where the data gainsay what the bench declared; empty where they do not."""
    if declared == LASTING and verdict == COMES_BACK:
        return ACTS_AS_STOPGAP
    if declared == STOPGAP and verdict == HOLDS:
        return BETTER_THAN_DECLARED
    return ""
