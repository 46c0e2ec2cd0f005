"""The posterior of each pair's hazard ratio, and the comeback risk it gives.

The risk follows for any horizon whose cumulative hazard is given.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import (
    betainc,
    gammainc,
    gammaincc,
    gammaincinv,
    gammaln,
    logsumexp,
    xlogy,
)

from repairs.comebacks.estimate.prior import Prior, log_likelihood
from repairs.comebacks.watch import Floats, Ints

MAX_STEPS = 90  # number of bisections that narrow a bracket to the last digit
TOLERANCE = 1e-12  # relative, of a quantile
TINY = 1e-300  # smallest divisor
MIN_SHAPE, MIN_RATE = 0.22, 0.05  # below these a component is hardly a gamma


@dataclass(frozen=True)
class Posterior:
    """A mixture of gammas for each pair: a row per pair, a column per component."""

    shapes: Floats
    rates: Floats
    weights: Floats

    def select(self, rows: Sequence[int] | Ints) -> "Posterior":
        """Return the posterior of these pairs, in this order."""
        keep = np.asarray(rows, dtype=np.int64)
        return Posterior(self.shapes[keep], self.rates[keep], self.weights[keep])

    @property
    def mean(self) -> Floats:
        """The mean hazard ratio of each pair."""
        return np.asarray((self.weights * self.shapes / self.rates).sum(axis=1))

    def risk(self, hazard: float) -> Floats:
        """Return the comeback probability by the day of this cumulative hazard."""
        survival = (self.rates / (self.rates + hazard)) ** self.shapes
        return np.asarray(1.0 - (self.weights * survival).sum(axis=1))

    def risk_quantile(self, p: float, hazard: float) -> Floats:
        """Return the risk that is not exceeded with probability `p`."""
        return -np.expm1(-self.quantile(p) * hazard)

    def probability_above(self, limit: float, hazard: float) -> Floats:
        """Return the probability that the risk is above `limit`."""
        if hazard <= 0.0:
            return np.zeros(len(self.shapes))
        return self.probability_ratio_above(-np.log1p(-limit) / hazard)

    def probability_ratio_above(self, ratio: float) -> Floats:
        """Return the probability that the hazard ratio is above `ratio`."""
        above = gammaincc(self.shapes, self.rates * ratio)
        return np.asarray((self.weights * above).sum(axis=1))

    def probability_better(self, first: int, second: int) -> float:
        """Return the probability that the hazard of row `first` is the smaller.

        Of two gammas X and Y, P(X < Y) is an incomplete beta function; mixtures are
        weighted sums.
        """
        a1, b1, w1 = self.shapes[first], self.rates[first], self.weights[first]
        a2, b2, w2 = self.shapes[second], self.rates[second], self.weights[second]
        below = betainc(a1[:, None], a2, b1[:, None] / (b1[:, None] + b2))
        return float(w1 @ below @ w2)

    def quantile(self, p: float) -> Floats:
        """Return the hazard ratio that is not exceeded with probability `p`.

        It lies between the quantiles of the components. Newton's method finds it fast;
        bisection takes over if a step would leave the bracket.
        """
        own = gammaincinv(self.shapes, p) / self.rates
        low, high = own.min(axis=1), own.max(axis=1)
        x = (self.weights * own).sum(axis=1).clip(low, high)
        left = np.arange(len(x))  # rows not found yet
        for _ in range(MAX_STEPS):
            below, density = self.select(left)._distribution(x[left])
            is_low = below < p
            low[left] = np.where(is_low, x[left], low[left])
            high[left] = np.where(is_low, high[left], x[left])
            new = x[left] - (below - p) / np.maximum(density, TINY)
            is_in = (low[left] <= new) & (new <= high[left])
            new = np.where(is_in, new, 0.5 * (low[left] + high[left]))
            is_found = np.abs(new - x[left]) <= TOLERANCE * x[left]
            x[left] = new
            left = left[~is_found]
            if not left.size:
                break
        return np.asarray(x)

    def _distribution(self, ratio: Floats) -> tuple[Floats, Floats]:
        """Return the distribution function and the density at one ratio per row."""
        scaled = self.rates * ratio[:, None]
        logs = (
            np.log(self.rates)
            + xlogy(self.shapes - 1.0, scaled)
            - scaled
            - gammaln(self.shapes)
        )
        below = (self.weights * gammainc(self.shapes, scaled)).sum(axis=1)
        return below, (self.weights * np.exp(logs)).sum(axis=1)


def posterior(prior: Prior, *, comebacks: Ints, expected: Floats) -> Posterior:
    """Return the posterior of each pair under a prior of the whole shop.

    Each component is updated as a gamma; the weights follow its marginal likelihood.
    """
    shapes, rates = np.array(prior.shapes), np.array(prior.rates)
    o, e = _column(comebacks), _column(expected)
    likelihood = log_likelihood(o, e, shape=shapes, rate=rates)
    logs = np.log(prior.weights) + likelihood
    return Posterior(
        shapes=shapes + o,
        rates=rates + e,
        weights=np.exp(logs - logsumexp(logs, axis=1, keepdims=True)),
    )


def filtered_posterior(
    unfiltered: Posterior,
    *,
    comebacks: Ints,
    expected: Floats,
    counted_comebacks: Ints,
    counted_expected: Floats,
) -> Posterior:
    """Return the posterior as if only the counted repairs of each pair had been made.

    `unfiltered` is the posterior of all repairs; `comebacks` and `expected` are of all
    repairs, too. A pair's own repairs are taken out of its gammas, which leaves what it
    is pooled towards; then the counted ones are put in. If all count, nothing changes.
    """
    o, e = _column(comebacks), _column(expected)
    counted_o, counted_e = _column(counted_comebacks), _column(counted_expected)
    # A gamma that stands for several may hold a little less than the pair's own data.
    a = np.maximum(unfiltered.shapes - o, MIN_SHAPE)
    b = np.maximum(unfiltered.rates - e, MIN_RATE)
    logs = (
        np.log(np.maximum(unfiltered.weights, TINY))
        + _log_marginal(a, b, counted_o, counted_e)
        - _log_marginal(a, b, o, e)
    )
    weights = np.exp(logs - logsumexp(logs, axis=1, keepdims=True))
    # Exactly unchanged if nothing is left out.
    is_whole = (o == counted_o) & np.isclose(e, counted_e, rtol=1e-12, atol=0.0)
    return Posterior(
        shapes=np.where(is_whole, unfiltered.shapes, a + counted_o),
        rates=np.where(is_whole, unfiltered.rates, b + counted_e),
        weights=np.where(is_whole, unfiltered.weights, weights),
    )


def _column(values: Ints | Floats) -> Floats:
    return np.asarray(values, dtype=np.float64)[:, None]


def _log_marginal(a: Floats, b: Floats, comebacks: Floats, expected: Floats) -> Floats:
    """Return the log probability under each gamma, up to terms that all share."""
    logs = gammaln(a + comebacks) - gammaln(a) + a * np.log(b)
    return np.asarray(logs - (a + comebacks) * np.log(b + expected))
