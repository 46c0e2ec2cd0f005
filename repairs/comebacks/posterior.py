"""What is known of each pair's hazard ratio once its comebacks are counted, and the
chance of a comeback that follows, for any horizon whose hazard is given.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammainc, gammaincc, gammaincinv, gammaln, logsumexp, xlogy

from repairs.comebacks.prior import Prior, log_chance
from repairs.comebacks.watch import Floats, Ints

HALVINGS = 90  # at most: these alone shrink a bracket below the last digit
EXACT = 1e-12  # a step by less than this share is none
TINY = 1e-300  # what may be divided by


@dataclass(frozen=True)
class Posterior:
    """A mixture of gammas for each pair: a row a pair, a column a component."""

    shapes: Floats
    rates: Floats
    weights: Floats

    def of(self, rows: Sequence[int] | Ints) -> "Posterior":
        """These pairs alone, in this order."""
        keep = np.asarray(rows, dtype=np.int64)
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

        It lies between the components' own quantiles. Newton's steps find it fast, and
        halving takes over wherever such a step would leave what is left between.
        """
        own = gammaincinv(self.shapes, p) / self.rates
        low, high = own.min(axis=1), own.max(axis=1)
        x = (self.weights * own).sum(axis=1).clip(low, high)
        left = np.arange(len(x))  # rows not found yet
        for _ in range(HALVINGS):
            below, slope = self.of(left)._at(x[left])
            is_low = below < p
            low[left] = np.where(is_low, x[left], low[left])
            high[left] = np.where(is_low, high[left], x[left])
            new = x[left] - (below - p) / np.maximum(slope, TINY)
            is_in = (low[left] <= new) & (new <= high[left])
            new = np.where(is_in, new, 0.5 * (low[left] + high[left]))
            is_found = np.abs(new - x[left]) <= EXACT * x[left]
            x[left] = new
            left = left[~is_found]
            if not left.size:
                break
        return np.asarray(x)

    def _at(self, ratio: Floats) -> tuple[Floats, Floats]:
        """Probability that the truth is below this ratio, and the density there."""
        scaled = self.rates * ratio[:, None]
        logs = (
            np.log(self.rates)
            + xlogy(self.shapes - 1.0, scaled)
            - scaled
            - gammaln(self.shapes)
        )
        below = (self.weights * gammainc(self.shapes, scaled)).sum(axis=1)
        return below, (self.weights * np.exp(logs)).sum(axis=1)


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
