"""When is a part to be ordered, and how many?

Uses of a part, by a job each, are a Poisson process whose rate is drawn from a gamma
distribution common to all parts; its shape and rate are fitted to all parts by marginal
likelihood, so a part that is seldom used is drawn towards the others. What a lead time
asks for is then a negative binomial number of uses (Greenwood & Yule 1920, J. R. Stat.
Soc. 83:255–279), each of as many pieces as one of the part's own uses. Their sum is
computed by the recursion of Panjer (1981, ASTIN Bulletin 12:22–26), which is exact.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import gammaln, ndtri

SERVICE_LEVEL = 0.95
REVIEW_DAYS = 14  # between two orders (common practice, no source)
LEAD_DAYS = 7  # where none is entered (common practice, no source)

MIN_PARTS = 5  # with fewer, all parts are taken to be alike
# A likelihood that still rises at these says that parts are alike; beyond them
# numbers lose their precision.
LOG_SHAPES = (math.log(0.05), math.log(1e4))
MAX_MEAN_USES = 300.0  # beyond, the normal distribution is as good, and quick
MAX_PIECES = 100_000


@dataclass(frozen=True)
class UseRate:
    """A gamma distribution of uses per day: shape, and rate in days."""

    shape: float
    days: float

    @property
    def mean(self) -> float:
        return self.shape / self.days

    def after(self, *, uses: int, days: float) -> "UseRate":
        """Return the rate of a part with so many uses in so many days."""
        return UseRate(self.shape + uses, self.days + days)


def pooled_rate(uses: Sequence[int], *, days: Sequence[float]) -> UseRate | None:
    """Return the rate common to all parts; None if no part was used yet.

    `uses` of each part in its `days`, which are above 0.
    """
    k, t = np.asarray(uses, dtype=float), np.asarray(days, dtype=float)
    if not k.sum():
        return None
    mean = float(k.sum() / t.sum())
    if len(k) < MIN_PARTS:
        return UseRate(1.0, 1.0 / mean)

    def loss(logs: NDArray[np.float64]) -> float:
        shape, rate = np.exp(logs)
        terms = gammaln(shape + k) - gammaln(shape) + shape * np.log(rate / (rate + t))
        return -float(np.sum(terms - k * np.log(rate + t)))

    bounds = [LOG_SHAPES, (-20.0, 20.0)]
    starts = [(math.log(shape), math.log(shape / mean)) for shape in (0.3, 1.0, 10.0)]
    found = [minimize(loss, x0, bounds=bounds, method="L-BFGS-B") for x0 in starts]
    best = min(found, key=lambda one: float(one.fun))
    shape, rate = np.exp(best.x)
    return UseRate(float(shape), float(rate))


def demand_level(
    rate: UseRate,
    *,
    days: float,
    sizes: Sequence[int] = (1,),
    service_level: float = SERVICE_LEVEL,
) -> int:
    """Return the smallest s with P(demand in `days` <= s) >= `service_level`.

    `sizes` are pieces per use, as observed; each use is of one of them.
    """
    counts = Counter(sizes)
    weights = {size: n / len(sizes) for size, n in counts.items()}
    mean_uses = rate.mean * days
    mean_size = sum(size * share for size, share in weights.items())
    if mean_uses > MAX_MEAN_USES:
        square = sum(size**2 * share for size, share in weights.items())
        variance = mean_uses * square + (mean_uses * mean_size) ** 2 / rate.shape
        level = normal_level(
            mean_uses * mean_size, math.sqrt(variance), service_level=service_level
        )
        return math.ceil(level)
    stays = rate.days / (rate.days + days)  # of the negative binomial
    a, b = 1 - stays, (rate.shape - 1) * (1 - stays)
    chances = [math.exp(rate.shape * math.log(stays))]
    total = chances[0]
    while total < service_level and len(chances) <= MAX_PIECES:
        s = len(chances)
        chance = sum(
            (a + b * size / s) * share * chances[s - size]
            for size, share in weights.items()
            if size <= s
        )
        chances.append(chance)
        total += chance
    return len(chances) - 1


def normal_level(
    mean: float, sd: float, *, service_level: float = SERVICE_LEVEL
) -> float:
    """Return the level that a normal demand exceeds with 1 - `service_level`."""
    return mean + sd * float(ndtri(service_level))


@dataclass(frozen=True)
class Need:
    """What is to be ordered of one part, in pieces."""

    level: int
    """Order when what is free or on order is at or below it; 0: only for a job."""
    quantity: int
    """How many to order now; 0 if enough."""


def need(
    rate: UseRate | None,
    *,
    sizes: Sequence[int],
    lead_days: float,
    position: int,
    fixed_level: int | None = None,
) -> Need:
    """Return the reorder level and what to order.

    `position` is in stock plus on order minus reserved; it may be negative.
    """
    level, target = 0, 0
    if rate is not None:
        level = demand_level(rate, days=lead_days, sizes=sizes)
        target = demand_level(rate, days=lead_days + REVIEW_DAYS, sizes=sizes)
    if fixed_level is not None:
        target = fixed_level + max(1, target - level)
        level = fixed_level
    if position >= 0 and (not level or position > level):
        return Need(level, 0)
    return Need(level, max(1, target - position, -position))
