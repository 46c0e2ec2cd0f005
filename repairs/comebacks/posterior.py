"""What is known of each pair's hazard ratio once its comebacks are counted, and the
chance of a comeback that follows, for any horizon whose hazard is given.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammainc, gammaincc, gammaincinv, logsumexp

from repairs.comebacks.prior import Prior, log_chance
from repairs.comebacks.watch import Floats, Ints

HALVINGS = 90  # the bracket shrinks below the last digit of any limit


@dataclass(frozen=True)
class Posterior:
    """A mixture of gammas for each pair: a row a pair, a column a component."""

    shapes: Floats
    rates: Floats
    weights: Floats

    def of(self, rows: Sequence[int]) -> "Posterior":
        """These pairs alone, in this order."""
        keep = list(rows)
        return Posterior(self.shapes[keep], self.rates[keep], self.weights[keep])

    def chance(self, hazard: float) -> Floats:
        """Chance that the fault is back by the day of this baseline hazard."""
        holds = (self.rates / (self.rates + hazard)) ** self.shapes
        return np.asarray(1.0 - (self.weights * holds).sum(axis=1))

    def chance_at(self, p: float, hazard: float) -> Floats:
        """The chance that the truth stays below with probability `p`."""
        return -np.expm1(-self.ratio_at(p) * hazard)

    def chance_over(self, limit: float, hazard: float) -> Floats:
        """Probability that the chance of a comeback is above `limit`."""
        if hazard <= 0.0:
            return np.zeros(len(self.shapes))
        ratio = -np.log1p(-limit) / hazard
        above = gammaincc(self.shapes, self.rates * ratio)
        return np.asarray((self.weights * above).sum(axis=1))

    def ratio_at(self, p: float) -> Floats:
        """The hazard ratio below which the truth lies with probability `p`.

        It lies between the components' own quantiles, so halving finds it.
        """
        own = gammaincinv(self.shapes, p) / self.rates
        low, high = own.min(axis=1), own.max(axis=1)
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            parts = gammainc(self.shapes, self.rates * middle[:, None])
            is_below = (self.weights * parts).sum(axis=1) < p
            low = np.where(is_below, middle, low)
            high = np.where(is_below, high, middle)
        return np.asarray(0.5 * (low + high))


def posterior(prior: Prior, *, returned: Ints, expected: Floats) -> Posterior:
    """Each component learns as a gamma does; their weights go by how well each
    foretold what was seen.
    """
    shapes, rates = np.array(prior.shapes), np.array(prior.rates)
    logs = np.stack(
        [
            np.log(weight) + log_chance(returned, expected, shape=a, rate=b)
            for a, b, weight in zip(
                prior.shapes, prior.rates, prior.weights, strict=True
            )
        ],
        axis=1,
    )
    return Posterior(
        shapes=shapes + np.asarray(returned, dtype=np.float64)[:, None],
        rates=rates + np.asarray(expected, dtype=np.float64)[:, None],
        weights=np.exp(logs - logsumexp(logs, axis=1, keepdims=True)),
    )
