"""Forecast how many repairs will come back in the next days.

Each open repair has its own probability, given that it has not come back so far. The
sum is Poisson-binomial. As no pair's risk is known exactly, each pair is calculated at
several quantiles of its posterior before they are added up.
"""

from dataclasses import dataclass

import numpy as np

from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import Floats, Ints
from repairs.month.frame import Observations

DAYS = 30
TAIL_PROBABILITY = 0.05
QUANTILES = 24  # of each pair's posterior, equally likely
CHUNK = 10_000  # repairs calculated together, to limit memory
TINY = 1e-13  # probability of a tail that is dropped


@dataclass(frozen=True)
class Forecast:
    """Comebacks expected within so many days, with a 90 % range."""

    days: int
    in_follow_up: int
    expected: float
    low: int
    high: int


def forecast(seen: Observations, *, days: int = DAYS) -> Forecast:
    """Return the expected comebacks of the repairs still in follow-up."""
    is_open = seen.repairs["is_open"].to_numpy()
    pair = seen.repairs["pair"].to_numpy()[is_open]
    hazard = seen.hazard_ahead(days=days)[is_open]
    counts = distribution(seen.posterior, pair=pair, hazard=hazard)
    return Forecast(
        days=days,
        in_follow_up=len(pair),
        expected=float(seen.risk_ahead(days=days).sum()),
        low=quantile(counts, TAIL_PROBABILITY),
        high=quantile(counts, 1.0 - TAIL_PROBABILITY),
    )


def distribution(posterior: Posterior, *, pair: Ints, hazard: Floats) -> Floats:
    """Return the probability of 0, 1, 2 … comebacks of all these repairs together."""
    total = np.ones(1)
    numbers, starts = np.unique(np.sort(pair), return_index=True)
    if not len(numbers):
        return total
    in_order = hazard[np.argsort(pair, kind="stable")]
    ratios = _ratios(posterior.select(numbers))
    sizes = np.diff(starts, append=len(in_order))
    by_pair: list[Floats] = [total] * len(numbers)
    # Pairs with the same number of repairs are calculated together.
    for size in np.unique(sizes).tolist():
        for pairs in _chunks(np.flatnonzero(sizes == size), max(CHUNK // size, 1)):
            ahead = in_order[starts[pairs, None] + np.arange(size)]
            risks = -np.expm1(-ratios[pairs][:, :, None] * ahead[:, None, :])
            counts = poisson_binomial(risks.reshape(-1, size))
            means = counts.reshape(len(pairs), QUANTILES, -1).mean(axis=1)
            for number, mean in zip(pairs.tolist(), means, strict=True):
                by_pair[number] = mean
    for counts in by_pair:
        total = _trim(np.convolve(total, counts))
    return total


def _ratios(posterior: Posterior) -> Floats:
    """Return equally likely hazard ratios of each pair (row), keeping its posterior
    mean.
    """
    steps = (np.arange(QUANTILES) + 0.5) / QUANTILES
    ratios = np.stack([posterior.quantile(float(p)) for p in steps], axis=1)
    # Quantiles cut off the tail, which would show once many pairs are added up.
    return np.asarray(ratios * (posterior.mean / ratios.mean(axis=1))[:, None])


def _chunks(rows: Ints, size: int) -> list[Ints]:
    return [rows[n : n + size] for n in range(0, len(rows), size)]


def poisson_binomial(risks: Floats) -> Floats:
    """Return the probability of 0, 1, 2 … successes of trials, one row each."""
    counts = np.zeros((len(risks), risks.shape[1] + 1))
    counts[:, 0] = 1.0
    for trial, risk in enumerate(risks.T):
        end, risk = trial + 2, risk[:, None]
        before = counts[:, :end].copy()
        counts[:, :end] = before * (1.0 - risk)
        counts[:, 1:end] += before[:, :-1] * risk
    return counts


def quantile(counts: Floats, p: float) -> int:
    """Return the smallest number that is not exceeded with probability `p`."""
    return int(np.searchsorted(np.cumsum(counts), p * counts.sum()))


def _trim(counts: Floats) -> Floats:
    kept = np.flatnonzero(np.cumsum(counts[::-1])[::-1] > TINY)
    return counts[: kept[-1] + 1]
