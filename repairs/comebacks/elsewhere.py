"""What the same fix does on other faults, as a hint for a pair.

A fix moves the log odds that its pairs hold by v ~ N(0, s²), s the same for all fixes
and not known. Faults and fixes cross, so that u and v can't both be summed out. But few
fixes of one fault are also together on another: so each fix is asked for itself, by all
its pairs but the one in question (belief propagation, Pearl 1988, in a single round:
where no two pairs are tied by more than one way it is exact).
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from repairs.comebacks.watch import Floats, Ints

EFFECTS = np.linspace(-4.0, 4.0, 9)  # that v may be
SPREADS = np.array([0.05, 0.5, 1.0, 1.7, 2.5])  # that s may be
LOG_BELIEF = np.log([0.4, 0.25, 0.2, 0.1, 0.05])  # and how likely each is

_logs = -0.5 * (EFFECTS / SPREADS[:, None]) ** 2
LOG_PRIOR = _logs - logsumexp(_logs, axis=1, keepdims=True)


@dataclass(frozen=True)
class Hints:
    """How probable each effect is of a pair's fix by its other pairs (a row a pair)."""

    weights: Floats
    spread: float


def hints(logs: Floats, *, fix: Ints) -> Hints:
    """`logs` are the log chances of what was seen of each pair (a row) under each of
    the effects, and `fix` is the number of its fix.
    """
    by_fix = np.stack([np.bincount(fix, weights=each) for each in logs.T], axis=1)
    # Of each spread (first axis), the fixes or pairs (second), the effects (third).
    all_together = logsumexp(LOG_PRIOR[:, None] + by_fix, axis=2).sum(axis=1)
    of_spread = LOG_BELIEF + all_together
    of_spread = np.exp(of_spread - logsumexp(of_spread))
    others = LOG_PRIOR[:, None] + (by_fix[fix] - logs)
    others = np.exp(others - others.max(axis=2, keepdims=True))
    others /= others.sum(axis=2, keepdims=True)
    return Hints(
        weights=np.tensordot(of_spread, others, axes=1),
        spread=float(of_spread @ SPREADS),
    )
