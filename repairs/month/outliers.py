"""Find groups of repairs with more comebacks than their repairs explain.

The expected comebacks of a repair are its pair's hazard ratio times the shop's hazard
over its follow-up, so that a good delivery is not blamed for unreliable fixes.

A bad delivery raises the risk of its pairs, which would hide it. So pairs and groups
are estimated in turn, each given what the other explains, until both agree (a
mean-field approximation of a product of gammas). If a pair was only repaired with one
delivery, the two cannot be told apart; then the pair keeps most of the excess, as fixes
differ more than deliveries do.
"""

import numpy as np
import pandas as pd

from repairs.comebacks.estimate import prior
from repairs.comebacks.estimate.posterior import TINY, Posterior, posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.watch import Floats, Ints
from repairs.month.frame import Observations

TOO_MANY_COMEBACKS = "too many comebacks"
AS_EXPECTED = "as expected"
NOT_ENOUGH_REPAIRS = "not enough repairs"
BORDERLINE = "borderline"

SUSPECT_RATIO = 2.0  # times the expected comebacks, from which a group is suspect
SUSPECT_PROBABILITY = 0.95
MIN_COMEBACKS = 2  # one comeback may be bad luck
MIN_EXPECTED = 3.0  # if fewer are expected, none at all says nothing
TAIL_PROBABILITY = 0.05

# Shape and rate of the ratios of good groups, and of bad ones, which have about five
# times the expected comebacks.
# times the expected comebacks.
GOOD, BAD = (8.0, 8.0), (2.0, 0.4)
SHARES = np.linspace(0.005, 0.5, 100)  # values of the share of bad groups
SHARE_PRIOR = 19.0  # of Beta(1, 19): one in twenty is bad
AIC_PENALTY = 4.0  # twice the two parameters of a fitted gamma
MOSTLY_GOOD = "most are alike, a few are bad"

MAX_ROUNDS = 30
TOLERANCE = 1e-3
MIN_RATE_SHARE = 0.25  # the rate of an averaged gamma may be slightly lower


def group_effects(
    seen: Observations,
    *,
    row: Ints,
    group: Ints,
    groups: int,
    max_rounds: int = MAX_ROUNDS,
) -> pd.DataFrame:
    """Return a row per group: its comebacks against those expected of its repairs.

    `ratio` is comebacks over expected comebacks, with its limits `low` and `high`;
    `probability` is that of a ratio above SUSPECT_RATIO.

    `row` and `group` are parallel: the position of a repair in `seen`, and a group it
    belongs to; a repair may belong to several. With `max_rounds=0`, pairs are taken as
    they are.
    """
    pair = seen.repairs["pair"].to_numpy()
    hazard = seen.hazard[seen.repairs["days"].to_numpy()]
    is_event = seen.repairs["is_event"].to_numpy()
    comebacks = np.bincount(group, weights=is_event[row], minlength=groups)
    comebacks = np.rint(comebacks).astype(np.int64)

    def expected(pair_ratio: Floats, factor: Floats, own: Floats) -> Floats:
        """`factor` is what all groups of a repair make of its hazard; a group's own
        effect is taken out of it.
        """
        others = factor[row] / own[group]
        each = pair_ratio[pair[row]] * hazard[row] * others
        return np.bincount(group, weights=each, minlength=groups).astype(np.float64)

    ratio, own = seen.posterior.mean, np.ones(groups)
    expectation = expected(ratio, np.ones(len(hazard)), own)
    for _ in range(max_rounds):
        # What all groups have in common belongs to the pairs: good groups average 1.
        fitted = _mostly_good(comebacks, expectation)
        new = posterior(fitted, comebacks=comebacks, expected=expectation).mean
        logs = np.bincount(row, weights=np.log(new)[group], minlength=len(hazard))
        factor = np.exp(logs)
        extra = (factor - 1.0) * hazard
        ratio = _with_more_hazard(seen.posterior, pair, extra).mean
        expectation = expected(ratio, factor, new)
        change = float(np.abs(np.log(new / own)).max(initial=0.0))
        own = new
        if change < TOLERANCE:
            break
    _, pooled = partial_pooling(comebacks, expectation)
    probability = pooled.probability_ratio_above(SUSPECT_RATIO)
    is_bad = (probability >= SUSPECT_PROBABILITY) & (comebacks >= MIN_COMEBACKS)
    verdict = np.select(
        [
            is_bad,
            expectation < MIN_EXPECTED,
            probability <= 1.0 - SUSPECT_PROBABILITY,
        ],
        [TOO_MANY_COMEBACKS, NOT_ENOUGH_REPAIRS, AS_EXPECTED],
        default=BORDERLINE,
    )
    return pd.DataFrame(
        {
            "repairs": np.bincount(group, minlength=groups),
            "comebacks": comebacks,
            "expected": expectation,
            "ratio": pooled.mean,
            "low": pooled.quantile(TAIL_PROBABILITY),
            "high": pooled.quantile(1.0 - TAIL_PROBABILITY),
            "probability": probability,
            "verdict": verdict,
        }
    )


def partial_pooling(comebacks: Ints, expected: Floats) -> tuple[Prior, Posterior]:
    """Return the prior of all groups and the posterior of each group's ratio.

    Most groups are assumed to be alike and a few to be bad. If a single gamma fits many
    groups better, it is used instead (Clayton & Kaldor 1987, Biometrics 43:671–681):
    then all of them differ, as models may.
    """
    fitted = _mostly_good(comebacks, expected)
    if len(comebacks) >= prior.MIN_PAIRS and comebacks.sum() >= prior.MIN_COMEBACKS:
        gamma = prior.one_gamma(comebacks, expected)
        if 2.0 * (gamma.log_likelihood - fitted.log_likelihood) > AIC_PENALTY:
            fitted = gamma
    return fitted, posterior(fitted, comebacks=comebacks, expected=expected)


def _mostly_good(comebacks: Ints, expected: Floats) -> Prior:
    """Return the prior with the estimated share of bad groups: without data 1 in 20."""
    good, bad = (
        prior.log_likelihood(comebacks, expected, shape=a, rate=b)
        for a, b in (GOOD, BAD)
    )
    logs = np.logaddexp(
        np.log1p(-SHARES)[:, None] + good, np.log(SHARES)[:, None] + bad
    ).sum(axis=1)
    weights = logs + (SHARE_PRIOR - 1.0) * np.log1p(-SHARES)
    weights = np.exp(weights - weights.max())
    share = float(weights @ SHARES / weights.sum())
    mixture = np.logaddexp(np.log1p(-share) + good, np.log(share) + bad)
    return Prior(
        shapes=(GOOD[0], BAD[0]),
        rates=(GOOD[1], BAD[1]),
        weights=(1.0 - share, share),
        basis=MOSTLY_GOOD,
        log_likelihood=float(mixture.sum()),
    )


def _with_more_hazard(pairs: Posterior, pair: Ints, hazard: Floats) -> Posterior:
    """Return the posterior of pairs if their repairs had met this much more hazard."""
    extra = np.bincount(pair, weights=hazard, minlength=len(pairs.rates))
    rates = np.maximum(pairs.rates + extra[:, None], MIN_RATE_SHARE * pairs.rates)
    logs = np.log(np.maximum(pairs.weights, TINY))
    logs += pairs.shapes * np.log(pairs.rates / rates)
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return Posterior(pairs.shapes, rates, weights / weights.sum(axis=1, keepdims=True))
