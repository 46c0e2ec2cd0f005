"""The prior of a hazard ratio: a gamma, or a mixture of gammas.

Fitted by marginal likelihood (empirical Bayes): given its expected number E, the
comebacks O of a pair are negative binomial with shape a and probability b / (b + E).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import gammaln, xlogy

from repairs.comebacks.watch import Floats, Ints

MIN_PAIRS = MIN_COMEBACKS = 20  # fewer say little about how pairs or groups differ

# A shape above the upper bound means that all fixes are alike, one below the lower
# bound that a fix always lasts or never does. The data of a shop show neither, but an
# unbounded fit runs there, to shapes where rounding destroys the likelihood.
LOG_SHAPE = (float(np.log(0.22)), float(np.log(10.0)))
LOG_MEAN = (-9.0, 9.0)

STARTS = ((np.log(2.0), 0.0), (-1.0, -0.7), (np.log(6.0), 0.7))

BY_TYPE_AND_FAULT = "two groups of fixes, by recorded type, fault and fix"
FITTED_ONE = "one group"
NO_COMEBACKS = "default assumption: no comebacks recorded yet"


@dataclass(frozen=True)
class Prior:
    """Gamma components by shape, rate and weight; the one of smaller mean first."""

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
    comebacks: Ints | Floats,
    expected: Floats,
    *,
    shape: float | Floats,
    rate: float | Floats,
) -> Floats:
    """Return the log probability of these comebacks under one component.

    Written with gammaln: the library's negative binomial loses precision at large
    shapes and then reports an optimum that is not there.
    """
    return np.asarray(
        gammaln(shape + comebacks)
        - gammaln(shape)
        - gammaln(comebacks + 1.0)
        - shape * np.log1p(expected / rate)
        + xlogy(comebacks, expected / (rate + expected))
    )


def one_gamma(comebacks: Ints, expected: Floats) -> Prior:
    """Return the maximum likelihood fit of one gamma."""

    def loss(x: Floats) -> float:
        shape, mean = np.exp(x)
        logs = log_likelihood(comebacks, expected, shape=shape, rate=shape / mean)
        return -float(logs.sum())

    x = minimize_from(loss, starts=STARTS, bounds=(LOG_SHAPE, LOG_MEAN))
    shape, mean = (float(v) for v in np.exp(x))
    return Prior((shape,), (shape / mean,), (1.0,), FITTED_ONE, -loss(x))


def minimize_from(
    loss: Callable[..., Any],
    *,
    starts: Sequence[Sequence[float] | Floats],
    bounds: Sequence[tuple[float, float]],
    **options: Any,
) -> Floats:
    """Return the lowest minimum reached from any of the starts.

    `options` are those of `scipy.optimize.minimize`.
    """
    results = [
        minimize(loss, np.array(start), method="L-BFGS-B", bounds=bounds, **options)
        for start in starts
    ]
    return np.asarray(min(results, key=lambda result: float(result.fun)).x)
