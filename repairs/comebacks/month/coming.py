"""How many repairs are to be expected back in the next days.

Each repair still within its time has its own chance, given that it has held so far.
The sum of many chances is Poisson-binomial; as no pair's risk is known exactly, each
pair is reckoned at several of the risks it may have, and only then are they added up.
"""

from dataclasses import dataclass

import numpy as np

from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.posterior import Posterior
from repairs.comebacks.watch import Floats, Ints

DAYS = 30
TAIL = 0.05
RISKS = 24  # as which each pair is tried: equally likely steps of what is known of it
AT_ONCE = 10_000  # repairs, so that pairs reckoned together fill no memory
TINY = 1e-13  # a tail not worth carrying on


@dataclass(frozen=True)
class Coming:
    """Comebacks to be expected within so many days, with 90 % limits."""

    days: int
    watched: int
    expected: float
    low: int
    high: int

    @property
    def expected_said(self) -> str:
        return f"{self.expected:.1f}"


def coming(seen: Seen, known: Known, *, days: int = DAYS) -> Coming:
    """Of the repairs still within their time, those that come back in the next days."""
    rows = np.flatnonzero(seen.is_watched)
    pair, hazard = seen.pair[rows], hazard_ahead(seen, known, days=days)[rows]
    chances = likely(known.posterior, pair=pair, hazard=hazard)
    counts = distribution(known.posterior, pair=pair, hazard=hazard)
    return Coming(
        days=days,
        watched=len(rows),
        expected=float(chances.sum()),
        low=quantile(counts, TAIL),
        high=quantile(counts, 1.0 - TAIL),
    )


def hazard_ahead(seen: Seen, known: Known, *, days: int) -> Floats:
    """The shop's hazard that each repair still meets in the next days; its time ends
    at the horizon.
    """
    until = np.minimum(seen.t + days, seen.within)
    ahead = known.hazard[until] - known.hazard[seen.t]
    return np.asarray(np.where(seen.is_watched, ahead, 0.0))


def likely(of: Posterior, *, pair: Ints, hazard: Floats) -> Floats:
    """Each repair's chance to come back while it meets this hazard."""
    shapes, rates, weights = of.shapes[pair], of.rates[pair], of.weights[pair]
    holds = (rates / (rates + hazard[:, None])) ** shapes
    return np.asarray(1.0 - (weights * holds).sum(axis=1))


def distribution(of: Posterior, *, pair: Ints, hazard: Floats) -> Floats:
    """Probability of 0, 1, 2 … comebacks of all these repairs together."""
    total = np.ones(1)
    numbers, starts = np.unique(np.sort(pair), return_index=True)
    if not len(numbers):
        return total
    in_order = hazard[np.argsort(pair, kind="stable")]
    known = of.of(numbers)
    steps = (np.arange(RISKS) + 0.5) / RISKS
    ratios = np.stack([known.ratio_at(float(p)) for p in steps], axis=1)
    # Steps cut the tail off, which would show once many pairs are added up.
    mean = (known.weights * known.shapes / known.rates).sum(axis=1)
    ratios *= (mean / ratios.mean(axis=1))[:, None]
    sizes = np.diff(starts, append=len(in_order))
    of_pair: list[Floats] = [total] * len(numbers)
    # Pairs with as many repairs are reckoned together.
    for size in np.unique(sizes).tolist():
        for pairs in _parts(np.flatnonzero(sizes == size), of=max(AT_ONCE // size, 1)):
            ahead = in_order[starts[pairs, None] + np.arange(size)]
            chances = -np.expm1(-ratios[pairs][:, :, None] * ahead[:, None, :])
            counts = poisson_binomial(chances.reshape(-1, size))
            means = counts.reshape(len(pairs), RISKS, -1).mean(axis=1)
            for pair, mean in zip(pairs.tolist(), means, strict=True):
                of_pair[pair] = mean
    for counts in of_pair:
        total = _cut(np.convolve(total, counts))
    return total


def _parts(rows: Ints, *, of: int) -> list[Ints]:
    return [rows[n : n + of] for n in range(0, len(rows), of)]


def poisson_binomial(chances: Floats) -> Floats:
    """Probability of 0, 1, 2 … successes of trials with these chances: a row each."""
    counts = np.zeros((len(chances), chances.shape[1] + 1))
    counts[:, 0] = 1.0
    for trial, chance in enumerate(chances.T):
        end, chance = trial + 2, chance[:, None]
        before = counts[:, :end].copy()
        counts[:, :end] = before * (1.0 - chance)
        counts[:, 1:end] += before[:, :-1] * chance
    return counts


def quantile(counts: Floats, p: float) -> int:
    """The smallest number that is not exceeded with probability `p`."""
    return int(np.searchsorted(np.cumsum(counts), p * counts.sum()))


def _cut(counts: Floats) -> Floats:
    kept = np.flatnonzero(np.cumsum(counts[::-1])[::-1] > TINY)
    return counts[: kept[-1] + 1]
