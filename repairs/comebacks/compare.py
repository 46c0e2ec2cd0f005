"""Is one fix of a fault better than another? By what is known of both, and by the
plain log-rank test beside it.
"""

from dataclasses import dataclass
from decimal import Decimal
from itertools import combinations

import numpy as np
from scipy.special import betainc, chdtrc

from repairs.comebacks.posterior import Posterior
from repairs.comebacks.watch import Counts, Floats


@dataclass(frozen=True)
class LogRank:
    """Comebacks seen and expected in each group if all were alike."""

    seen: Floats
    expected: Floats
    statistic: float
    p_value: float


def chance_first_is_better(of: Posterior, *, first: int, second: int) -> float:
    """Probability that the hazard of the pair in row `first` is the smaller.

    Of two gammas X and Y, P(X < Y) is an incomplete beta; mixtures go by weights.
    """
    a1, b1, w1 = (x[first][:, None] for x in (of.shapes, of.rates, of.weights))
    a2, b2, w2 = (x[second][None, :] for x in (of.shapes, of.rates, of.weights))
    return float((w1 * w2 * betainc(a1, a2, b1 / (b1 + b2))).sum())


def chances_to_beat_best_other(of: Posterior, *, chances: Floats) -> Floats:
    """For each row, the probability that it holds better than the best of the others.

    The best of the others is the one with the smallest chance of coming back. A fix
    that stands alone has nothing to beat: not a number.
    """
    rows = range(len(chances))
    result = np.full(len(chances), np.nan)
    for row in rows:
        others = [other for other in rows if other != row]
        if others:
            best = min(others, key=lambda other: float(chances[other]))
            result[row] = chance_first_is_better(of, first=row, second=best)
    return result


@dataclass(frozen=True)
class Against:
    """Two fixes of a fault, by their rows, held against each other."""

    first: int
    second: int
    chance: float
    """How probable it is that the first holds better than the second."""
    p_value: float
    """Of the plain test, by their own repairs alone."""

    @property
    def p_said(self) -> str:
        return "below 0.001" if self.p_value < 0.001 else f"{self.p_value:.3f}"


def each_against_each(of: Posterior, *, counts: Counts) -> list[Against]:
    """Every two of these fixes, in the order of their rows."""
    return [
        Against(
            first=first,
            second=second,
            chance=chance_first_is_better(of, first=first, second=second),
            p_value=log_rank(counts.of([first, second])).p_value,
        )
        for first, second in combinations(range(len(of.shapes)), 2)
    ]


def cost_to_shop(*, own_cost: Decimal, chance: float, rework_cost: Decimal) -> Decimal:
    """What a fix costs the shop in the end: doing it, and doing it again if need be."""
    return own_cost + Decimal(repr(float(chance))) * rework_cost


def log_rank(counts: Counts) -> LogRank:
    """The log-rank test between two groups, a row each.

    Where no day can tell the groups apart the statistic is nought and p is one.
    """
    if counts.left.shape[0] != 2:
        raise ValueError("The log-rank test here compares two groups.")
    at_risk = counts.at_risk
    n, back = at_risk.sum(axis=0), counts.back.sum(axis=0)
    share = at_risk / np.maximum(n, 1)
    expected = (share * back).sum(axis=1)
    left_over = (n - back) / np.maximum(n - 1, 1)
    variance = float((share[0] * share[1] * back * left_over).sum())
    seen = counts.returned.astype(np.float64)
    statistic = float((seen[0] - expected[0]) ** 2) / variance if variance else 0.0
    return LogRank(seen, expected, statistic, float(chdtrc(1, statistic)))
