"""Nonparametric survival estimates: Kaplan–Meier, Nelson–Aalen and log-rank.

The Kaplan–Meier interval is the beta product confidence procedure (Fay, Brittain &
Proschan 2013, Biostatistics 14:723–736). It keeps its level for a handful of repairs,
where Greenwood's does not. Without censoring it equals the interval of Clopper and
Pearson.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, chdtrc

from repairs.comebacks.watch import Counts, Floats, Ints


@dataclass(frozen=True)
class KaplanMeierEstimate:
    """Probability of a comeback within the period with its interval, one per pair."""

    risk: Floats
    low: Floats
    high: Floats


def kaplan_meier(counts: Counts, *, tail: float = 0.05) -> KaplanMeierEstimate:
    """Return the estimate of each pair from its own repairs only.

    `tail` is the probability outside each limit. A repair followed up through the last
    day counts as at risk just after it, as if it were censored half a day later.
    """
    events, at_risk = counts.events, counts.at_risk
    low, high = beta_product_interval(
        events, at_risk, after=counts.completed, tail=tail
    )
    return KaplanMeierEstimate(
        risk=1.0 - survival(events, at_risk), low=1.0 - high, high=1.0 - low
    )


def survival(events: Ints, at_risk: Ints) -> Floats:
    """Return the Kaplan–Meier survival after the last day: the product of 1 − d/n."""
    return np.asarray(np.prod(1.0 - events / np.maximum(at_risk, 1), axis=1))


def beta_product_interval(
    events: Ints, at_risk: Ints, *, after: Ints, tail: float
) -> tuple[Floats, Floats]:
    """Return the lower and upper beta product limits of survival, one per row.

    The upper limit is of the product of Beta(n − d + 1, d) over the days with an event.
    The lower one has a further factor Beta(n after, 1), as the next event could come at
    once. Each product is approximated by the beta of the same mean and variance; logs
    of moment ratios keep the precision when thousands of repairs make the variance
    tiny.
    """
    left = at_risk - events + 1.0
    log_mean = np.where(events > 0, np.log(left / (at_risk + 1.0)), 0.0).sum(axis=1)
    spread = np.log1p(events / (left * (at_risk + 2.0))).sum(axis=1)
    upper = _beta_quantile(log_mean, spread, 1.0 - tail)
    n = np.maximum(after, 1)
    lower = _beta_quantile(
        log_mean + np.log(n / (n + 1.0)),
        spread + np.log1p(1.0 / (n * (n + 2.0))),
        tail,
    )
    return np.where(after > 0, lower, 0.0), upper


def _beta_quantile(log_mean: Floats, spread: Floats, p: float) -> Floats:
    """Return the quantile of the beta with this mean and log(second moment / mean²)."""
    mean = np.exp(log_mean)
    is_certain = spread <= 0.0  # no event: survival is not less than one
    excess = np.where(is_certain, 1.0, np.expm1(spread))
    a = np.where(is_certain, 1.0, (1.0 - mean * np.exp(spread)) / excess)
    b = np.where(is_certain, 1.0, a * (1.0 - mean) / mean)
    return np.where(is_certain, 1.0, betaincinv(a, b, p))


# --- two groups ---------------------------------------------------------------------


@dataclass(frozen=True)
class LogRank:
    """Comebacks observed in each group, and expected if both were alike."""

    observed: Floats
    expected: Floats
    statistic: float
    p_value: float


def log_rank(counts: Counts) -> LogRank:
    """Return the log-rank test between two groups, one row each.

    If no day tells the groups apart, the statistic is 0 and p is 1.
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


# --- the whole shop ---------------------------------------------------------------


def cumulative_hazard(counts: Counts) -> Floats:
    """Return the Nelson–Aalen hazard of all repairs on each day 0…H: the sum of d/n."""
    events = counts.events.sum(axis=0)
    at_risk = counts.at_risk.sum(axis=0)
    return np.cumsum(events / np.maximum(at_risk, 1))


def expected_comebacks(counts: Counts, hazard: Floats) -> Floats:
    """Return each pair's comebacks expected at the shop's hazard over its follow-up.

    They add up to the comebacks observed, whatever the data; otherwise a count is
    wrong.
    """
    expected = np.asarray(counts.exits @ hazard)
    observed = float(counts.comebacks.sum())
    assert np.isclose(expected.sum(), observed, rtol=1e-9, atol=1e-9), "ΣE is not ΣO"
    return expected


def hazard_before_any_comeback(counts: Counts) -> float:
    """Return a substitute for the hazard of the period while the shop has no comeback.

    As if the next repair, followed up for the whole period, came back. With the default
    prior this puts the upper 95 % limit near 3 / (repairs followed up) (the rule of
    three) instead of assuming a risk of 0.
    """
    days = np.arange(counts.within + 1)
    periods = float(counts.exits.sum(axis=0) @ days) / max(counts.within, 1)
    return 1.0 / (periods + 1.0)
