"""Compare two fixes of a fault: by their posteriors, and by the log-rank test."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, chdtrc

from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import Counts, Floats


@dataclass(frozen=True)
class LogRank:
    """Comebacks observed and expected in each group if both were alike."""

    observed: Floats
    expected: Floats
    statistic: float
    p_value: float


def probability_better(pairs: Posterior, *, first: int, second: int) -> float:
    """Return the probability that the hazard of row `first` is the smaller.

    Of two gammas X and Y, P(X < Y) is an incomplete beta; mixtures go by their weights.
    """
    a1, b1, w1 = (x[first][:, None] for x in (pairs.shapes, pairs.rates, pairs.weights))
    a2, b2, w2 = (
        x[second][None, :] for x in (pairs.shapes, pairs.rates, pairs.weights)
    )
    return float((w1 * w2 * betainc(a1, a2, b1 / (b1 + b2))).sum())


def log_rank(counts: Counts) -> LogRank:
    """Return the log-rank test between two groups, a row each.

    Where no day tells the groups apart the statistic is zero and p is one.
    """
    if counts.exits.shape[0] != 2:
        raise ValueError("The log-rank test here compares two groups.")
    at_risk = counts.at_risk
    n, events = at_risk.sum(axis=0), counts.events.sum(axis=0)
    share = at_risk / np.maximum(n, 1)
    expected = (share * events).sum(axis=1)
    left_over = (n - events) / np.maximum(n - 1, 1)
    variance = float((share[0] * share[1] * events * left_over).sum())
    observed = counts.comebacks.astype(np.float64)
    difference = float((observed[0] - expected[0]) ** 2)
    statistic = difference / variance if variance else 0.0
    return LogRank(observed, expected, statistic, float(chdtrc(1, statistic)))
