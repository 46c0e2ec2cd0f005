"""The posterior of each pair, averaged over the uncertain parameters of the model.

The best parameters alone would make the intervals too narrow: a shop of sixty pairs
does not know its own groups that well. So parameters are taken from a Student t around
the best ones (importance sampling; Geweke 1989, Econometrica 57:1317–1339), each
weighted by how well it explains all pairs. The points are a fixed low-discrepancy set,
not random, so that the same data give the same digits on any day.

A mixture over all points would be long. Each pair keeps two gammas, one for reliable
and one for not, each with the mean and variance of its part of the mixture.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, logsumexp, ndtri

from repairs.comebacks.estimate.hierarchy import PairCounts, curvature, fit_parameters
from repairs.comebacks.estimate.hyperprior import (
    HYPERPRIORS,
    HyperParameters,
    Hyperprior,
)
from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import Floats

DEGREES_OF_FREEDOM = 8.0  # of the t: wide tails cover posteriors that are not normal
MIN_CURVATURE = 0.3  # below this curvature the data say less than the hyperprior
MAX_POINTS, MIN_POINTS = 64, 16
PAIRS_TIMES_POINTS = 64_000  # more pairs determine the parameters better

LARGE = 1200  # pairs; above this, a sample of them finds the start for all
SAMPLE = 600
MIN_WEIGHT = 1e-4  # a hyperprior that the sample makes less probable is dropped


@dataclass(frozen=True)
class _Points:
    """Parameters around the best ones under one hyperprior, one set per row.

    With the log of their weights and each pair's probability of being reliable.
    """

    hyperprior: Hyperprior
    best: Floats
    fix_sd: float
    points: Floats
    logs: Floats
    shares: Floats


def bayesian_model_average(
    pair_counts: PairCounts,
) -> tuple[HyperParameters, Posterior]:
    """Return the best parameters, and the posterior of each pair in the order given."""
    if pair_counts.pairs > LARGE:
        sample = pair_counts.sample(SAMPLE)
        tried = _weighted([_sample_posterior(sample, each) for each in HYPERPRIORS])
        parts = [
            _sample_posterior(pair_counts, part.hyperprior, start=part.best)
            for part, weights in tried
            if weights.sum() > MIN_WEIGHT
        ]
    else:
        parts = [_sample_posterior(pair_counts, each) for each in HYPERPRIORS]
    weighted = _weighted(parts)
    best, _ = max(weighted, key=lambda each: float(each[1].sum()))
    points = np.concatenate([part.points for part, _ in weighted])
    weights = np.concatenate([weights for _, weights in weighted])[:, None]
    # Rounding may make a sum of weights slightly more than 1.
    shares = np.concatenate([part.shares for part, _ in weighted]).clip(max=1.0)
    gammas = [
        _as_one_gamma(
            np.exp(log_shape) + pair_counts.comebacks,
            np.exp(log_shape - log_mean) + pair_counts.expected,
            weights * mass,
        )
        for log_shape, log_mean, mass in (
            (points[:, [0]], points[:, [1]], shares),
            (points[:, [2]], points[:, [1]] + points[:, [3]], 1.0 - shares),
        )
    ]
    shapes, rates, mass = (np.stack(each, axis=1) for each in zip(*gammas, strict=True))
    averaged = Posterior(shapes, rates, mass / mass.sum(axis=1, keepdims=True))
    parameters = HyperParameters.of(best.best, fix_sd=best.fix_sd)
    return parameters, averaged.select(pair_counts.in_given_order)


def _sample_posterior(
    pair_counts: PairCounts, hyperprior: Hyperprior, *, start: Floats | None = None
) -> _Points:
    x = fit_parameters(pair_counts, hyperprior) if start is None else start
    if pair_counts.has_shared_fixes:
        pair_counts = pair_counts.with_fix_effects(x)
        start = x
    if start is not None:
        x = fit_parameters(pair_counts, hyperprior, starts=(start,))
    values, axes = np.linalg.eigh(curvature(pair_counts, x, hyperprior))
    values = np.maximum(values, MIN_CURVATURE)
    count = max(MIN_POINTS, min(MAX_POINTS, PAIRS_TIMES_POINTS // pair_counts.pairs))
    offsets = student_t_nodes(count, dimensions=len(x))
    low, high = np.array(hyperprior.bounds).T
    points = np.clip(x + offsets @ (axes / np.sqrt(values)).T, low, high)
    densities = [pair_counts.log_density(point, hyperprior) for point in points]
    tails = 0.5 * (DEGREES_OF_FREEDOM + len(x))
    tails = tails * np.log1p((offsets**2).sum(axis=1) / DEGREES_OF_FREEDOM)
    size = np.log(hyperprior.weight) - 0.5 * np.log(values).sum()
    size -= np.log(hyperprior.sd).sum()
    return _Points(
        hyperprior=hyperprior,
        best=x,
        fix_sd=pair_counts.fix_sd,
        points=points,
        logs=np.array([density for density, _ in densities]) + tails + size,
        shares=np.stack([share for _, share in densities]),
    )


def _weighted(parts: Sequence[_Points]) -> list[tuple[_Points, Floats]]:
    total = logsumexp(np.concatenate([part.logs for part in parts]))
    return [(part, np.exp(part.logs - total)) for part in parts]


def student_t_nodes(count: int, *, dimensions: int) -> Floats:
    """Return evenly spread points of a Student t, in mirrored pairs.

    The additive recurrence by powers of the root of g^(d+1) = g + 1 fills a cube of d
    dimensions evenly; its last dimension gives the scale of the t.
    """
    d = dimensions + 1
    g = 1.5
    for _ in range(60):
        g = (1.0 + g) ** (1.0 / (d + 1))
    steps = g ** -np.arange(1.0, d + 1)
    cube = (0.5 + np.outer(np.arange(1, count // 2 + 1), steps)) % 1.0
    scale = 2.0 * gammaincinv(0.5 * DEGREES_OF_FREEDOM, cube[:, [-1]])
    half = ndtri(cube[:, :-1]) / np.sqrt(scale / DEGREES_OF_FREEDOM)
    return np.concatenate([half, -half])


def _as_one_gamma(
    shapes: Floats, rates: Floats, mass: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return shape, rate and weight of one gamma per pair, by mean and variance."""
    total = np.maximum(mass.sum(axis=0), 1e-300)
    means = shapes / rates
    mean = (mass * means).sum(axis=0) / total
    squares = (means - mean) ** 2 + shapes / rates**2
    variance = (mass * squares).sum(axis=0) / total
    ok = variance > 0.0
    mean, variance = np.where(ok, mean, 1.0), np.where(ok, variance, 1.0)
    return mean**2 / variance, mean / variance, total
