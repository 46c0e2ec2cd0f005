"""Compare two fixes of a fault: by their posteriors, and by the log-rank test."""

from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

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


def probabilities_better_than_best_other(pairs: Posterior, *, risks: Floats) -> Floats:
    """Return for each row the probability that it beats the best of the others.

    The best of the others has the lowest risk. A single row has nothing to beat: NaN.
    """
    rows = range(len(risks))
    result = np.full(len(risks), np.nan)
    for row in rows:
        others = [other for other in rows if other != row]
        if others:
            best = min(others, key=lambda other: float(risks[other]))
            result[row] = probability_better(pairs, first=row, second=best)
    return result


@dataclass(frozen=True)
class Comparison:
    """Two fixes of a fault by their rows: which one is better, and how surely."""

    first: int
    second: int
    probability: float
    """That the first is better, from all data."""
    p_value: float
    """Of the log-rank test, from their own repairs alone."""


def compare_pairwise(pairs: Posterior, *, counts: Counts) -> list[Comparison]:
    """Return the comparison of every two rows, in their order."""
    return [
        Comparison(
            first=first,
            second=second,
            probability=probability_better(pairs, first=first, second=second),
            p_value=log_rank(counts.select([first, second])).p_value,
        )
        for first, second in combinations(range(len(pairs.shapes)), 2)
    ]


def total_cost(*, own_cost: Decimal, risk: float, rework_cost: Decimal) -> Decimal:
    """Return the cost of a repair including its expected rework."""
    return own_cost + Decimal(repr(float(risk))) * rework_cost


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
