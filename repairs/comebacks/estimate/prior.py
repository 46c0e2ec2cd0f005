"""The prior of a pair's hazard ratio to the shop: one gamma, or a mixture of two.

Fitted by marginal likelihood (empirical Bayes): given its expected number E, the
comebacks O of a pair are negative binomial with shape a and probability b / (b + E).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, gammaln, xlogy

from repairs.comebacks.watch import Floats, Ints

MIN_PAIRS = MIN_COMEBACKS = 20  # fewer cannot tell one group of fixes from two
AIC_PENALTY = 6.0  # twice the three further parameters of a second group

# A shape above the upper bound means that all fixes are alike, one below the lower
# bound that a fix always holds or never does. No data of a shop show either, but an
# unbounded fit runs there, to shapes where the likelihood itself is lost in rounding.
LOG_SHAPE = (float(np.log(0.22)), float(np.log(10.0)))
LOG_MEAN = (-9.0, 9.0)
LOGIT_SHARE = (-9.0, 9.0)

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
STARTS_OF_ONE = ((np.log(2.0), 0.0), (-1.0, -0.7), (np.log(6.0), 0.7))

BY_TYPE_AND_FAULT = "two groups of fixes, by recorded type, fault and fix"
FITTED_TWO = "two groups of fixes"
FITTED_ONE = "one group of fixes"
TOO_SMALL_FOR_TWO = "one group of fixes: too few pairs or comebacks for two"
NO_COMEBACKS = "default assumption: no comebacks recorded yet"


@dataclass(frozen=True)
class Prior:
    """Gamma components by shape, rate and weight, the one of smaller mean first."""

    shapes: tuple[float, ...]
    rates: tuple[float, ...]
    weights: tuple[float, ...]
    basis: str = ""
    log_likelihood: float = float("nan")

    @property
    def means(self) -> tuple[float, ...]:
        return tuple(a / b for a, b in zip(self.shapes, self.rates, strict=True))


DEFAULT_PRIOR = Prior((1.5,), (1.5,), (1.0,), basis=NO_COMEBACKS)


def log_likelihood(
    comebacks: Ints, expected: Floats, *, shape: float, rate: float
) -> Floats:
    """Return the log probability of these comebacks under one component.

    Written with gammaln: the library's negative binomial loses its digits at large
    shapes and then reports an optimum that is not there.
    """
    return np.asarray(
        gammaln(shape + comebacks)
        - gammaln(shape)
        - gammaln(comebacks + 1.0)
        - shape * np.log1p(expected / rate)
        + xlogy(comebacks, expected / (rate + expected))
    )


def fit_prior(comebacks: Ints, expected: Floats) -> Prior:
    """Return the prior fitted to these pairs; its `basis` says what it rests on."""
    if comebacks.sum() == 0:
        return DEFAULT_PRIOR
    few = len(comebacks) < MIN_PAIRS or comebacks.sum() < MIN_COMEBACKS
    one = one_gamma(comebacks, expected, basis=TOO_SMALL_FOR_TWO if few else FITTED_ONE)
    if few:
        return one
    two = two_gammas(comebacks, expected)
    is_better = 2.0 * (two.log_likelihood - one.log_likelihood) > AIC_PENALTY
    return two if is_better else one


def one_gamma(comebacks: Ints, expected: Floats, *, basis: str = FITTED_ONE) -> Prior:
    """Return the maximum likelihood fit of one gamma."""

    def loss(x: Floats) -> float:
        shape, mean = np.exp(x)
        logs = log_likelihood(comebacks, expected, shape=shape, rate=shape / mean)
        return -float(logs.sum())

    x = _minimize(loss, starts=STARTS_OF_ONE, bounds=(LOG_SHAPE, LOG_MEAN))
    shape, mean = (float(v) for v in np.exp(x))
    return Prior((shape,), (shape / mean,), (1.0,), basis, -loss(x))


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
    x = _minimize(loss, starts=STARTS_OF_TWO, bounds=bounds)
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


def _minimize(
    loss: Callable[[Floats], float],
    *,
    starts: tuple[tuple[float, ...], ...],
    bounds: tuple[tuple[float, float], ...],
) -> Floats:
    """Return the lowest point reached from any of the starts."""
    results = [
        minimize(loss, np.array(start), method="L-BFGS-B", bounds=bounds)
        for start in starts
    ]
    return np.asarray(min(results, key=lambda result: float(result.fun)).x)
