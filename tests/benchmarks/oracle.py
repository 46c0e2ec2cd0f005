"""The best possible estimate of a simulated shop, by one who knows how it was made.

Bayes' rule on a fine grid of true probabilities; nothing here is part of the product.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import expit, logit, logsumexp
from scipy.stats import beta

from tests.benchmarks.shops import HUMP, HUMP_STOPGAP, RELIABLE, STOPGAP, TWO_POINTS

GRID = np.sort([*-np.expm1(-np.geomspace(1e-5, 3.0, 600)), *TWO_POINTS])
EDGES = np.concatenate([[0.0], 0.5 * (GRID[1:] + GRID[:-1]), [1.0]])
LEAST = 1e-300  # its logarithm is finite
NODES, _weights = np.polynomial.hermite_e.hermegauss(21)
STEPS = np.linspace(-4.0, 4.0, 33)  # of a standard normal, to draw from
SWEEPS, SETTLING = 600, 60
LOG_WEIGHTS = np.log(_weights / _weights.sum())


@dataclass(frozen=True)
class Estimate:
    """Risk, 90 % range and probability above the limit, an entry per pair."""

    risk: np.ndarray
    low: np.ndarray
    high: np.ndarray
    over: np.ndarray


def oracle(shop, *, returned, exposure, limit) -> Estimate:
    """`exposure` is each pair's watch in units of the whole horizon at the shop's own
    hazard: with it a true risk p predicts exposure × −ln(1 − p) comebacks.
    """
    scenario = shop.scenario
    hazard = -np.log1p(-scenario.seen(GRID))
    logs = returned[:, None] * np.log(hazard) - exposure[:, None] * hazard
    said = shop.is_declared_stopgap[:, None]
    if scenario.truths == "hump":
        is_stopgap = GRID > HUMP_STOPGAP
        word = _word(scenario, said, is_stopgap)
        weights = _normal(logs + np.log(_mass_of(HUMP)) + word)
    else:
        groups = [logs + np.log(_prior(scenario, g)) for g in (False, True)]
        marginal = [
            logsumexp(group, axis=1) + _word(scenario, said[:, 0], is_stopgap)
            for group, is_stopgap in zip(groups, (False, True), strict=True)
        ]
        share = share_of_stopgaps(shop, *marginal)[:, None]
        weights = (1.0 - share) * _normal(groups[0]) + share * _normal(groups[1])
    below = weights.cumsum(axis=1)
    target = scenario.target(GRID)
    return Estimate(
        risk=weights @ target,
        low=target[(below >= 0.05).argmax(axis=1)],
        high=target[(below >= 0.95).argmax(axis=1)],
        over=weights @ (target > limit),
    )


def share_of_stopgaps(shop, holds, stopgap):
    """How probably each pair is a stopgap, by the log chance of all that is seen of it
    if it is none or is one; where faults differ, by the other pairs of its fault too.
    """
    scenario = shop.scenario
    usual = logit(scenario.stopgaps)
    if scenario.fix_spread:
        return _share_where_fixes_differ(shop, stopgap - holds)
    if not scenario.fault_spread:
        return expit(usual + stopgap - holds)
    odds = expit(usual + scenario.fault_spread * NODES)
    either = np.logaddexp(
        np.log1p(-odds) + holds[:, None], np.log(odds) + stopgap[:, None]
    )
    by_fault = np.zeros((shop.fault.max() + 1, len(NODES)))
    np.add.at(by_fault, shop.fault, either)
    by_fault = _normal(by_fault + LOG_WEIGHTS)[shop.fault]
    return (by_fault * np.exp(np.log(odds) + stopgap[:, None] - either)).sum(axis=1)


def _share_where_fixes_differ(shop, evidence):
    """The same where fixes differ as well. Faults and fixes cross, so that nothing can
    be summed out; the oracle draws instead (Gibbs sampling): which pairs are stopgaps,
    then how much each fault and each fix is given to them, and so on, and takes the
    mean of the chances on its way.
    """
    scenario, rng = shop.scenario, np.random.default_rng(1)
    usual = logit(scenario.stopgaps)
    sides = [(shop.fault, scenario.fault_spread), (shop.fix, scenario.fix_spread)]
    effects = [np.zeros(len(shop.fault)) for _ in sides]
    total = np.zeros(len(shop.fault))
    for sweep in range(SWEEPS + SETTLING):
        chance = expit(usual + effects[0] + effects[1] + evidence)
        if sweep >= SETTLING:
            total += chance
        is_stopgap = rng.random(len(chance)) < chance
        for side, (group, spread) in enumerate(sides):
            others = usual + effects[1 - side]
            effects[side] = _drawn(is_stopgap, others, group, spread, rng)
    return total / SWEEPS


def _drawn(is_stopgap, others, group, spread, rng):
    """An effect for each group, by which of its pairs are stopgaps, on a fine grid."""
    odds = others[:, None] + spread * STEPS
    logs = np.where(
        is_stopgap[:, None], -np.logaddexp(0, -odds), -np.logaddexp(0, odds)
    )
    by_group = np.zeros((group.max() + 1, len(STEPS)))
    np.add.at(by_group, group, logs)
    below = _normal(by_group - 0.5 * STEPS**2).cumsum(axis=1)
    chosen = (below >= rng.random((len(below), 1))).argmax(axis=1)
    return spread * STEPS[chosen][group]


def _word(scenario, said, is_stopgap):
    """Return the log probability of the recorded type, of a stopgap or another fix."""
    chance = np.where(is_stopgap, scenario.said_of_stopgaps, scenario.said_of_others)
    return np.log(np.where(said, chance, 1.0 - chance))


def _prior(scenario, is_stopgap):
    if scenario.truths == "two points":
        mass = np.full(len(GRID), LEAST)
        mass[np.abs(GRID - TWO_POINTS[0 if is_stopgap else 1]).argmin()] = 1.0
        return mass
    return _mass_of(STOPGAP if is_stopgap else RELIABLE)


def _mass_of(shape):
    mass = np.diff(beta.cdf(EDGES, *shape))
    return np.maximum(mass / mass.sum(), LEAST)


def _normal(logs):
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return weights / weights.sum(axis=1, keepdims=True)
