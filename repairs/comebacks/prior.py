"""How the fixes of this shop differ before one is looked at: a gamma, or a mixture of
two, for the ratio of a pair's hazard to the shop's.

Fitted by marginal likelihood: given its expectation E, the comebacks O of a pair are
then negative binomial with shape a and probability b / (b + E).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, gammaln, xlogy

from repairs.comebacks.watch import Floats, Ints

LEAST_PAIRS = LEAST_RETURNS = 20  # fewer cannot tell one group of fixes from two
AKAIKE = 6.0  # twice the three further figures that two groups need

# A shape above the upper bound says "all fixes are alike", below the lower one "a
# fix always holds or never does": no shop's data show either, but a fit left free
# runs there, to shapes where the likelihood itself is lost in rounding.
LOG_SHAPE = (float(np.log(0.22)), float(np.log(10.0)))
LOG_MEAN = (-9.0, 9.0)
LOGIT_SHARE = (-9.0, 9.0)

# What is held likely of two groups (normal: middle, spread): holding fixes come back
# at a third of the shop's rate, stopgaps at nearly three times, most fixes hold.
BELIEFS = np.array([[np.log(4), 1], [-1.2, 1.2], [np.log(4), 1], [1.0, 1.2], [1, 1.5]])
STARTS_OF_TWO = (
    (np.log(4.0), -1.2, np.log(4.0), 1.0, 1.0),
    (0.0, -2.5, 0.0, 0.5, 0.0),
    (np.log(8.0), -0.4, np.log(3.0), 1.8, 2.5),
)
STARTS_OF_ONE = ((np.log(2.0), 0.0), (-1.0, -0.7), (np.log(6.0), 0.7))

BY_DECLARED_AND_FAULT = "two groups of fixes, by what was declared, fault and fix"
FITTED_TWO = "two groups of fixes"
FITTED_ONE = "one group of fixes"
TOO_SMALL_FOR_TWO = "one group of fixes: too few pairs or comebacks to look for two"
NO_RETURNS = "no comeback seen yet: a starting guess, not a fit"


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


STARTING_GUESS = Prior((1.5,), (1.5,), (1.0,), basis=NO_RETURNS)


def log_chance(
    returned: Ints, expected: Floats, *, shape: float, rate: float
) -> Floats:
    """Log probability of these comebacks under one component.

    Written with gammaln: the library's negative binomial loses its digits at great
    shapes and then reports an optimum that is not there.
    """
    return np.asarray(
        gammaln(shape + returned)
        - gammaln(shape)
        - gammaln(returned + 1.0)
        - shape * np.log1p(expected / rate)
        + xlogy(returned, expected / (rate + expected))
    )


def fitted(returned: Ints, expected: Floats) -> Prior:
    """The prior these pairs speak for, and in words what it rests on."""
    if returned.sum() == 0:
        return STARTING_GUESS
    few = len(returned) < LEAST_PAIRS or returned.sum() < LEAST_RETURNS
    one = one_gamma(returned, expected, basis=TOO_SMALL_FOR_TWO if few else FITTED_ONE)
    if few:
        return one
    two = two_gammas(returned, expected)
    is_better = 2.0 * (two.log_likelihood - one.log_likelihood) > AKAIKE
    return two if is_better else one


def one_gamma(returned: Ints, expected: Floats, *, basis: str = FITTED_ONE) -> Prior:
    """Maximum likelihood of one gamma."""

    def loss(x: Floats) -> float:
        shape, mean = np.exp(x)
        logs = log_chance(returned, expected, shape=shape, rate=shape / mean)
        return -float(logs.sum())

    x = _best(loss, starts=STARTS_OF_ONE, bounds=(LOG_SHAPE, LOG_MEAN))
    shape, mean = (float(v) for v in np.exp(x))
    return Prior((shape,), (shape / mean,), (1.0,), basis, -loss(x))


def two_gammas(returned: Ints, expected: Floats) -> Prior:
    """The likeliest two gammas given the beliefs above, smaller mean first."""

    def log_likelihood(x: Floats) -> float:
        a1, m1, a2, m2 = np.exp(x[:4])
        first = log_chance(returned, expected, shape=a1, rate=a1 / m1)
        second = log_chance(returned, expected, shape=a2, rate=a2 / m2)
        share = np.log(expit([x[4], -x[4]]))
        return float(np.logaddexp(share[0] + first, share[1] + second).sum())

    def loss(x: Floats) -> float:
        away = (x - BELIEFS[:, 0]) / BELIEFS[:, 1]
        return 0.5 * float(away @ away) - log_likelihood(x)

    bounds = (LOG_SHAPE, LOG_MEAN, LOG_SHAPE, LOG_MEAN, LOGIT_SHARE)
    x = _best(loss, starts=STARTS_OF_TWO, bounds=bounds)
    a1, m1, a2, m2 = (float(v) for v in np.exp(x[:4]))
    share = float(expit(x[4]))
    parts = sorted([(m1, a1, share), (m2, a2, 1.0 - share)])
    return Prior(
        shapes=tuple(a for _, a, _ in parts),
        rates=tuple(a / m for m, a, _ in parts),
        weights=tuple(w for _, _, w in parts),
        basis=FITTED_TWO,
        log_likelihood=log_likelihood(x),
    )


def _best(
    loss: Callable[[Floats], float],
    *,
    starts: tuple[tuple[float, ...], ...],
    bounds: tuple[tuple[float, float], ...],
) -> Floats:
    """The lowest point reached from any of the starts."""
    tries = [
        minimize(loss, np.array(start), method="L-BFGS-B", bounds=bounds)
        for start in starts
    ]
    return np.asarray(min(tries, key=lambda found: float(found.fun)).x)
