"""A pair judged by its own repairs alone: Kaplan–Meier at the horizon, with
beta-product limits (Fay, Brittain & Proschan 2013, Biostatistics 14:723–736).

They keep their promise for a handful of repairs, where Greenwood's do not: with
nothing censored they are Clopper and Pearson's.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from repairs.comebacks.watch import Counts, Floats, Ints


@dataclass(frozen=True)
class Alone:
    """Chance of a comeback within the horizon, and its limits, a pair each."""

    chance: Floats
    low: Floats
    high: Floats


def alone(counts: Counts, *, tail: float = 0.05) -> Alone:
    """Each pair by its own data; `tail` is left outside each limit.

    Whoever was watched through the last day counts as at risk just after it, as if the
    watch were cut half a day later.
    """
    back, at_risk = counts.back, counts.at_risk
    keeps = survival(back, at_risk)
    low, high = survival_limits(back, at_risk, after=counts.watched_through, tail=tail)
    return Alone(chance=1.0 - keeps, low=1.0 - high, high=1.0 - low)


def survival(back: Ints, at_risk: Ints) -> Floats:
    """Kaplan–Meier at the end of the days given: the product of 1 − d/n."""
    return np.asarray(np.prod(1.0 - back / np.maximum(at_risk, 1), axis=1))


def survival_limits(
    back: Ints, at_risk: Ints, *, after: Ints, tail: float
) -> tuple[Floats, Floats]:
    """Lower and upper beta-product limits of survival, a row each.

    The upper limit is of the product of Beta(n − d + 1, d) over the days with a
    comeback. The lower one has a further factor Beta(n after, 1): the next failure
    could come at once. Each product is put as the beta of the same mean and variance;
    logs of moment ratios keep that exact where thousands of repairs make the variance
    tiny.
    """
    kept = at_risk - back + 1.0
    log_mean = np.where(back > 0, np.log(kept / (at_risk + 1.0)), 0.0).sum(axis=1)
    spread = np.log1p(back / (kept * (at_risk + 2.0))).sum(axis=1)
    upper = _beta_quantile(log_mean, spread, 1.0 - tail)
    n = np.maximum(after, 1)
    lower = _beta_quantile(
        log_mean + np.log(n / (n + 1.0)),
        spread + np.log1p(1.0 / (n * (n + 2.0))),
        tail,
    )
    return np.where(after > 0, lower, 0.0), upper


def _beta_quantile(log_mean: Floats, spread: Floats, p: float) -> Floats:
    """Quantile of the beta with this mean and log(second moment / mean²)."""
    mean = np.exp(log_mean)
    sure = spread <= 0.0  # nothing came back: survival is not less than one
    excess = np.where(sure, 1.0, np.expm1(spread))
    a = np.where(sure, 1.0, (1.0 - mean * np.exp(spread)) / excess)
    b = np.where(sure, 1.0, a * (1.0 - mean) / mean)
    return np.where(sure, 1.0, betaincinv(a, b, p))
