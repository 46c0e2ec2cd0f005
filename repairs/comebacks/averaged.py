"""The posterior of each pair, averaged over what the figures of the hierarchy may be.

The likeliest figures alone would make the limits too narrow: a shop of sixty pairs does
not know its own groups that well. So figures are taken from a Student t around the
likeliest (importance sampling; Geweke 1989, Econometrica 57:1317–1339), each weighed by
how well it accounts for all pairs. The points are a fixed low-discrepancy set, not
drawn, so that the same data give the same digits on any day.

A mixture over all points would be long. Each pair keeps two gammas: what is known if it
is one that holds, and if it is one that comes back, each of the mean and variance of
its part of the mixture.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincinv, logsumexp, ndtri

from repairs.comebacks.beliefs import SETS, Beliefs, Figures
from repairs.comebacks.hierarchy import Evidence, curvature
from repairs.comebacks.hierarchy import fitted as likeliest
from repairs.comebacks.posterior import Posterior
from repairs.comebacks.watch import Floats

FREEDOM = 8.0  # of the t: tails wide enough to cover what is not normal
LEAST_CURVED = 0.3  # where the data say less than this, the beliefs still do
MOST_POINTS, LEAST_POINTS = 64, 16
PAIRS_TIMES_POINTS = 64_000  # the more pairs, the surer the figures

BIG = 1200  # pairs: from here on a part of them finds the way for all
PART = 600
LEAST_WEIGHT = 1e-4  # beliefs that a part speaks against so clearly are let go


@dataclass(frozen=True)
class _Around:
    """Figures around the likeliest under one set of beliefs (a row each), the logs of
    their weights, and each pair's chance to be one that holds under them.
    """

    beliefs: Beliefs
    likeliest: Floats
    between_fixes: float
    points: Floats
    logs: Floats
    shares: Floats


def averaged(evidence: Evidence) -> tuple[Figures, Posterior]:
    """The likeliest figures, and what is known of each pair in the order given."""
    if evidence.pairs > BIG:
        part = _weighed([_around(evidence.thinned(PART), beliefs) for beliefs in SETS])
        tries = [
            _around(evidence, tried.beliefs, start=tried.likeliest)
            for tried, weights in part
            if weights.sum() > LEAST_WEIGHT
        ]
    else:
        tries = [_around(evidence, beliefs) for beliefs in SETS]
    weighed = _weighed(tries)
    best, _ = max(weighed, key=lambda each: float(each[1].sum()))
    points = np.concatenate([tried.points for tried, _ in weighed])
    weights = np.concatenate([weights for _, weights in weighed])[:, None]
    # A sum of weights may be the last digit above one.
    shares = np.concatenate([tried.shares for tried, _ in weighed]).clip(max=1.0)
    parts = [
        _as_one_gamma(
            np.exp(log_shape) + evidence.returned,
            np.exp(log_shape - log_mean) + evidence.expected,
            weights * mass,
        )
        for log_shape, log_mean, mass in (
            (points[:, [0]], points[:, [1]], shares),
            (points[:, [2]], points[:, [1]] + points[:, [3]], 1.0 - shares),
        )
    ]
    shapes, rates, mass = (np.stack(each, axis=1) for each in zip(*parts, strict=True))
    known = Posterior(shapes, rates, mass / mass.sum(axis=1, keepdims=True))
    figures = Figures.of(best.likeliest, between_fixes=best.between_fixes)
    return figures, known.of(evidence.in_given_order)


def _around(
    evidence: Evidence, beliefs: Beliefs, *, start: Floats | None = None
) -> _Around:
    x = likeliest(evidence, beliefs) if start is None else start
    if evidence.is_any_fix_elsewhere:
        evidence = evidence.hinted_by_fixes(x)
        start = x
    if start is not None:
        x = likeliest(evidence, beliefs, starts=(start,))
    values, axes = np.linalg.eigh(curvature(evidence, x, beliefs))
    values = np.maximum(values, LEAST_CURVED)
    count = max(LEAST_POINTS, min(MOST_POINTS, PAIRS_TIMES_POINTS // evidence.pairs))
    off = student_points(count, of=len(x))
    lowest, highest = np.array(beliefs.bounds).T
    points = np.clip(x + off @ (axes / np.sqrt(values)).T, lowest, highest)
    found = [evidence.log_density(point, beliefs) for point in points]
    tails = 0.5 * (FREEDOM + len(x)) * np.log1p((off**2).sum(axis=1) / FREEDOM)
    size = np.log(beliefs.weight) - 0.5 * np.log(values).sum()
    size -= np.log(beliefs.spread).sum()
    return _Around(
        beliefs=beliefs,
        likeliest=x,
        between_fixes=evidence.between_fixes,
        points=points,
        logs=np.array([density for density, _ in found]) + tails + size,
        shares=np.stack([share for _, share in found]),
    )


def _weighed(tries: Sequence[_Around]) -> list[tuple[_Around, Floats]]:
    """The weights of all points, which are one together."""
    total = logsumexp(np.concatenate([tried.logs for tried in tries]))
    return [(tried, np.exp(tried.logs - total)) for tried in tries]


def student_points(count: int, *, of: int) -> Floats:
    """Points of a Student t in `of` dimensions, spread evenly and in mirrored pairs.

    The additive recurrence by powers of the root of g^(d+1) = g + 1 fills a cube of d
    dimensions evenly; the last of them serves the t's own scale.
    """
    dimensions = of + 1
    g = 1.5
    for _ in range(60):
        g = (1.0 + g) ** (1.0 / (dimensions + 1))
    steps = g ** -np.arange(1.0, dimensions + 1)
    cube = (0.5 + np.outer(np.arange(1, count // 2 + 1), steps)) % 1.0
    scale = 2.0 * gammaincinv(0.5 * FREEDOM, cube[:, [-1]]) / FREEDOM
    half = ndtri(cube[:, :-1]) / np.sqrt(scale)
    return np.concatenate([half, -half])


def _as_one_gamma(
    shapes: Floats, rates: Floats, mass: Floats
) -> tuple[Floats, Floats, Floats]:
    """Shape, rate and mass of one gamma a pair, of the mixture's mean and variance."""
    total = np.maximum(mass.sum(axis=0), 1e-300)
    means = shapes / rates
    mean = (mass * means).sum(axis=0) / total
    away = (means - mean) ** 2 + shapes / rates**2
    variance = (mass * away).sum(axis=0) / total
    ok = variance > 0.0
    mean, variance = np.where(ok, mean, 1.0), np.where(ok, variance, 1.0)
    return mean**2 / variance, mean / variance, total
