"""The plain method that the comeback table is compared with.

One gamma or two for all pairs by marginal likelihood, without recorded types, faults
and fixes.
"""

from dataclasses import replace

import numpy as np
from scipy.special import expit

from repairs.comebacks.estimate.kaplan_meier import (
    cumulative_hazard,
    expected_comebacks,
    hazard_before_any_comeback,
)
from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import (
    DEFAULT_PRIOR,
    LOG_MEAN,
    LOG_SHAPE,
    MIN_COMEBACKS,
    MIN_PAIRS,
    Prior,
    log_likelihood,
    minimize_from,
    one_gamma,
)
from repairs.comebacks.estimate.rate import TAIL_PROBABILITY
from repairs.comebacks.watch import Counts, Floats, Ints

AIC_PENALTY = 6.0  # twice the three further parameters of a second group
LOGIT_SHARE = (-9.0, 9.0)
FITTED_TWO = "two groups of fixes"
TOO_SMALL_FOR_TWO = "one group of fixes: too few pairs or comebacks for two"

# Normal hyperprior of two groups (mean, standard deviation): reliable fixes come back
# at a third of the shop's rate, the others at nearly three times, most are reliable.
HYPERPRIOR = np.array(
    [[np.log(4), 1], [-1.2, 1.2], [np.log(4), 1], [1.0, 1.2], [1, 1.5]]
)
STARTS_OF_TWO = (
    (np.log(4.0), -1.2, np.log(4.0), 1.0, 1.0),
    (0.0, -2.5, 0.0, 0.5, 0.0),
    (np.log(8.0), -0.4, np.log(3.0), 1.8, 2.5),
)


def plain_estimate(
    counts: Counts, *, limit: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return risk, its lower and upper limit, and the probability above `limit`."""
    hazards = cumulative_hazard(counts)
    expected = expected_comebacks(counts, hazards)
    hazard = float(hazards[-1]) or hazard_before_any_comeback(counts)
    prior = fit_prior(counts.comebacks, expected)
    pairs = posterior(prior, comebacks=counts.comebacks, expected=expected)
    return (
        pairs.risk(hazard),
        pairs.risk_quantile(TAIL_PROBABILITY, hazard),
        pairs.risk_quantile(1.0 - TAIL_PROBABILITY, hazard),
        pairs.probability_above(limit, hazard),
    )


def fit_prior(comebacks: Ints, expected: Floats) -> Prior:
    """Return the prior fitted to these pairs; its `basis` says what it rests on."""
    if comebacks.sum() == 0:
        return DEFAULT_PRIOR
    few = len(comebacks) < MIN_PAIRS or comebacks.sum() < MIN_COMEBACKS
    one = one_gamma(comebacks, expected)
    if few:
        return replace(one, basis=TOO_SMALL_FOR_TWO)
    two = two_gammas(comebacks, expected)
    is_better = 2.0 * (two.log_likelihood - one.log_likelihood) > AIC_PENALTY
    return two if is_better else one


def two_gammas(comebacks: Ints, expected: Floats) -> Prior:
    """Return the two gammas of highest posterior density, the smaller mean first."""

    def total_log_likelihood(x: Floats) -> float:
        a1, m1, a2, m2 = np.exp(x[:4])
        first = log_likelihood(comebacks, expected, shape=a1, rate=a1 / m1)
        second = log_likelihood(comebacks, expected, shape=a2, rate=a2 / m2)
        share = np.log(expit([x[4], -x[4]]))
        return float(np.logaddexp(share[0] + first, share[1] + second).sum())

    def loss(x: Floats) -> float:
        z = (x - HYPERPRIOR[:, 0]) / HYPERPRIOR[:, 1]
        return 0.5 * float(z @ z) - total_log_likelihood(x)

    bounds = (LOG_SHAPE, LOG_MEAN, LOG_SHAPE, LOG_MEAN, LOGIT_SHARE)
    x = minimize_from(loss, starts=STARTS_OF_TWO, bounds=bounds)
    a1, m1, a2, m2 = (float(v) for v in np.exp(x[:4]))
    share = float(expit(x[4]))
    parts = sorted([(m1, a1, share), (m2, a2, 1.0 - share)])
    return Prior(
        shapes=tuple(a for _, a, _ in parts),
        rates=tuple(a / m for m, a, _ in parts),
        weights=tuple(w for _, _, w in parts),
        basis=FITTED_TWO,
        log_likelihood=total_log_likelihood(x),
    )
