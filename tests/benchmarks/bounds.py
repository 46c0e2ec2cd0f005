"""What the study's targets ask that nobody could give, and what is not worth asking.

    python -m tests.benchmarks.bounds [--reps N]

Two questions that the study itself leaves open. How near can one come to the oracle in
two clear groups who knows that there are but two chances, though not which? And what
would it bring to know by how much each family of devices comes back more than others?
"""

import argparse

import numpy as np

from repairs.comebacks.estimate.averaging import bayesian_model_average
from repairs.comebacks.estimate.hierarchy import PairCounts
from repairs.comebacks.estimate.kaplan_meier import (
    cumulative_hazard,
    expected_comebacks,
)
from repairs.comebacks.watch import count_exits
from tests.benchmarks.machine import described
from tests.benchmarks.shops import BY_NAME, WITHIN, shop
from tests.benchmarks.study import SEED, Figure, judged

STEPS, SETTLING = 4000, 800
STEP = np.array(
    [0.09, 0.054, 0.23, 0.32]
)  # of the walk, about as wide as what it seeks
FAMILIES = 12
FIX_SDS = (0.2, 0.4, 0.7)  # of the log of how much more a family comes back


# --- two chances, though not which --------------------------------------------


def risk_of_two_points(made) -> np.ndarray:
    """The chance of each pair, known that there are just two (Metropolis' walk over
    both hazards, the share that holds and the worth of the bench's word).
    """
    counts = count_exits(
        made.pair, days=made.t, is_event=made.d, pairs=len(made.truth), within=WITHIN
    )
    hazards = cumulative_hazard(counts)
    seen = counts.comebacks, expected_comebacks(counts, hazards)
    rng = np.random.default_rng(1)
    at = np.array([-1.5, 1.0, 2.0, 2.0])
    density, share = _weighed(at, *seen, made.is_declared_stopgap)
    risk = np.zeros(len(made.truth))
    for step in range(STEPS + SETTLING):
        to = at + STEP * rng.normal(size=4)
        new_density, new_share = _weighed(to, *seen, made.is_declared_stopgap)
        if np.log(rng.random()) < new_density - density:
            at, density, share = to, new_density, new_share
        if step >= SETTLING:
            one, two = -np.expm1(-hazards[-1] * np.exp(at[:2]))
            risk += share * one + (1.0 - share) * two
    return risk / STEPS


def _weighed(at, returned, expected, said):
    """Log of belief × likelihood, and each pair's chance to be one that holds."""
    one, two, alpha, beta = at
    if two < one:
        return -np.inf, np.zeros(len(returned))
    logit = alpha - beta * said
    holds = returned * one - np.exp(one) * expected - np.logaddexp(0.0, -logit)
    back = returned * two - np.exp(two) * expected - np.logaddexp(0.0, logit)
    either = np.logaddexp(holds, back)
    away = (at - [-1.2, 1.0, 1.8, 2.3]) / [1.2, 1.2, 1.0, 1.3]
    return either.sum() - 0.5 * away @ away, np.exp(holds - either)


# --- families of devices ------------------------------------------------------


def errors_with_families(spread: float, rng: np.random.Generator) -> tuple[float, ...]:
    """The error of a shop whose families differ: by the table as it is, and if it were
    told by how much each family does. The truth is of a device like the shop's usual.
    """
    scenario = BY_NAME["spread groups"]
    made = shop(scenario, rng)
    n = len(made.pair)
    family = rng.choice(FAMILIES, n, p=_zipf(FAMILIES))
    factor = np.exp(rng.normal(0.0, spread, FAMILIES))[family]
    factor /= factor.mean()
    hazard = -np.log1p(-made.truth)[made.pair] * factor
    end = np.minimum(rng.integers(0, scenario.days, n), WITHIN)
    back = np.ceil(WITHIN * np.minimum(rng.exponential(size=n) / hazard, 1e6))
    d = (back <= end).astype(np.int64)
    t = np.where(d, back, end).astype(np.int64)
    counts = count_exits(
        made.pair, days=t, is_event=d, pairs=scenario.pairs, within=WITHIN
    )
    hazards = cumulative_hazard(counts)
    told = np.bincount(made.pair, hazards[t] * factor, minlength=scenario.pairs)
    return tuple(
        _error(made, counts.comebacks, expected, float(hazards[-1]))
        for expected in (expected_comebacks(counts, hazards), told)
    )


def _error(made, returned, expected, hazard):
    evidence = PairCounts(
        comebacks=returned,
        expected=expected,
        is_stopgap=made.is_declared_stopgap,
        fault=made.fault,
        fix=made.fix,
    )
    risk = bayesian_model_average(evidence)[1].risk(hazard)
    return float(np.abs(risk - made.truth).mean())


def _zipf(n):
    share = 1.0 / np.arange(1, n + 1)
    return share / share.sum()


# --- said ---------------------------------------------------------------------


def ratio(above, below) -> Figure:
    """The one sum by the other; its error by leaving out each shop."""
    a, b = np.array(above), np.array(below)
    left_out = (a.sum() - a) / (b.sum() - b)
    spread = (len(a) - 1) / len(a) * ((left_out - left_out.mean()) ** 2).sum()
    return Figure(float(a.sum() / b.sum()), float(np.sqrt(spread)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--reps", type=int, default=30, help="shops of each")
    reps = parser.parse_args().reps
    print(described("numpy", "scipy"))
    print(f"{reps} shops each, seed {SEED}\n")
    told, by = [], []
    for rep in range(reps):  # the study's own shops
        made = shop(BY_NAME["two clear groups"], np.random.default_rng([SEED, 0, rep]))
        told.append(np.abs(risk_of_two_points(made) - made.truth).sum())
        sums = judged(made)
        by.append([sums[method]["error"] for method in ("plain", "ours", "oracle")])
    plain, ours, oracle = zip(*by, strict=True)
    print(f"two clear groups, ours ÷ oracle: {ratio(ours, oracle):3}")
    print(f"known that there are two, ÷ oracle: {ratio(told, oracle):3}")
    print(f"the same ÷ plain: {ratio(told, plain):3}", flush=True)
    for spread in FIX_SDS:
        both = [
            errors_with_families(spread, np.random.default_rng([SEED, 99, rep]))
            for rep in range(reps)
        ]
        untold, if_told = zip(*both, strict=True)
        found = ratio(if_told, untold)
        print(f"families differ by {spread}, told ÷ not told: {found:3}", flush=True)


if __name__ == "__main__":
    main()
