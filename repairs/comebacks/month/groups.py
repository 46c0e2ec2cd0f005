"""Which deliveries, models or board revisions return more than their repairs explain.

What a repair explains is its own pair's hazard ratio times the shop's hazard over the
days it was watched: a good delivery that went into bad fixes is not blamed for them.

A bad delivery makes its pairs look bad too, and so would hide behind them. So pairs and
groups are asked in turn, each given what the other explains, until both agree (as mean
fields do in a product of gammas). A pair that was only ever done with one delivery
cannot be told from it; then most of the blame stays with the pair, whose fixes differ
more than deliveries do.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from repairs.comebacks import prior
from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.posterior import Posterior, posterior
from repairs.comebacks.prior import Prior
from repairs.comebacks.watch import Floats, Ints

TOO_OFTEN = "returns too often"
AS_EXPECTED = "as expected"
TOO_FEW = "too few to tell"
BETWEEN = "between"

TWICE = 2.0  # a group is bad if it returns this many times what its repairs explain
SURE = 0.95
LEAST_RETURNS = 2  # one comeback may be bad luck
LEAST_EXPECTED = 3.0  # where fewer are expected, not seeing them says nothing
TAIL = 0.05

# Shape and rate of how the ratios of good groups differ, and of bad ones: these return
# five times what their repairs explain, more or less.
ALIKE, BAD = (8.0, 8.0), (2.0, 0.4)
SHARES = np.linspace(0.005, 0.5, 100)  # of bad groups, as which a shop is tried
FEWNESS = 19.0  # of the belief Beta(1, 19): one in twenty is bad
AKAIKE = 4.0  # twice the two figures of a fitted gamma
MOSTLY_ALIKE = "most are alike, a few are bad"

ROUNDS = 30
SETTLED = 1e-3
LEAST_RATE = 0.25  # of a pair's own; the rate of an averaged gamma may be a bit small


@dataclass(frozen=True)
class Groups:
    """A row a group: what came back, what its repairs explain, and the ratio."""

    repairs: Ints
    returned: Ints
    expected: Floats
    ratio: Floats
    low: Floats
    high: Floats
    over: Floats  # probability that the ratio is above two
    prior: Prior

    @property
    def is_bad(self) -> NDArray[np.bool_]:
        return (self.over >= SURE) & (self.returned >= LEAST_RETURNS)

    @property
    def words(self) -> NDArray[np.object_]:
        """A word a group. Too few is never told as if it were good news."""
        return np.select(
            [self.is_bad, self.expected < LEAST_EXPECTED, self.over <= 1.0 - SURE],
            [TOO_OFTEN, TOO_FEW, AS_EXPECTED],
            default=BETWEEN,
        ).astype(object)


def explained(
    seen: Seen,
    known: Known,
    *,
    row: Ints,
    group: Ints,
    groups: int,
    rounds: int = ROUNDS,
) -> Groups:
    """Each group judged against its repairs. `row` and `group` go together: the row of
    a repair in `seen`, and a group it belongs to; a repair may belong to several.

    With no rounds, pairs are taken as they are.
    """
    hazard = known.hazard[seen.t]
    ratio = _means(known.posterior)
    returned = np.bincount(group, weights=seen.d[row], minlength=groups)
    returned = np.rint(returned).astype(np.int64)

    def expected(by_pair: Floats, times: Floats, own: Floats) -> Floats:
        """Comebacks each group's repairs explain; `times` is what all groups of a
        repair make of its hazard, of which a group's own share is taken out.
        """
        others = times[row] / own[group]
        each = by_pair[seen.pair[row]] * hazard[row] * others
        sums = np.bincount(group, weights=each, minlength=groups)
        return sums.astype(np.float64)

    times, own = np.ones(len(hazard)), np.ones(groups)
    foretold = expected(ratio, times, own)
    for _ in range(rounds):
        # What is alike in all groups is the pairs': good ones are held to be at one.
        fitted = _mostly_alike(returned, foretold)
        new = _means(posterior(fitted, returned=returned, expected=foretold))
        logs = np.bincount(row, weights=np.log(new)[group], minlength=len(hazard))
        times = np.exp(logs)
        ratio = _means(_with_more(known.posterior, seen, (times - 1.0) * hazard))
        foretold = expected(ratio, times, new)
        moved = float(np.abs(np.log(new / own)).max(initial=0.0))
        own = new
        if moved < SETTLED:
            break
    fitted, of_groups = shrunk(returned, foretold)
    return Groups(
        repairs=np.bincount(group, minlength=groups),
        returned=returned,
        expected=foretold,
        ratio=_means(of_groups),
        low=of_groups.ratio_at(TAIL),
        high=of_groups.ratio_at(1.0 - TAIL),
        over=chance_over(of_groups, TWICE),
        prior=fitted,
    )


def shrunk(returned: Ints, expected: Floats) -> tuple[Prior, Posterior]:
    """What is known of each group's ratio, drawn towards all groups.

    Most are taken to be alike and a few to be bad. Where many groups speak for it, one
    gamma fitted by maximum likelihood takes their place (Clayton & Kaldor 1987,
    Biometrics 43:671–681): all of them differ, as makers' models may.
    """
    fitted = _mostly_alike(returned, expected)
    if len(returned) >= prior.LEAST_PAIRS and returned.sum() >= prior.LEAST_RETURNS:
        one = prior.one_gamma(returned, expected)
        if 2.0 * (one.log_likelihood - fitted.log_likelihood) > AKAIKE:
            fitted = one
    return fitted, posterior(fitted, returned=returned, expected=expected)


def _mostly_alike(returned: Ints, expected: Floats) -> Prior:
    """The prior of a shop whose groups are alike but for a few, by how few they seem.

    With nothing seen one in twenty is taken to be bad.
    """
    good, bad = (
        prior.log_chance(returned, expected, shape=a, rate=b) for a, b in (ALIKE, BAD)
    )
    logs = np.logaddexp(
        np.log1p(-SHARES)[:, None] + good, np.log(SHARES)[:, None] + bad
    ).sum(axis=1)
    weights = logs + (FEWNESS - 1.0) * np.log1p(-SHARES)
    weights = np.exp(weights - weights.max())
    share = float(weights @ SHARES / weights.sum())
    found = np.logaddexp(np.log1p(-share) + good, np.log(share) + bad)
    return Prior(
        shapes=(ALIKE[0], BAD[0]),
        rates=(ALIKE[1], BAD[1]),
        weights=(1.0 - share, share),
        basis=MOSTLY_ALIKE,
        log_likelihood=float(found.sum()),
    )


def chance_over(of: Posterior, ratio: float) -> Floats:
    """Probability that each ratio is above this one."""
    above = gammaincc(of.shapes, of.rates * ratio)
    return np.asarray((of.weights * above).sum(axis=1))


def _means(of: Posterior) -> Floats:
    return np.asarray((of.weights * of.shapes / of.rates).sum(axis=1))


def _with_more(of: Posterior, seen: Seen, hazard: Floats) -> Posterior:
    """The pairs had their repairs met this much more hazard: exact for gammas."""
    more = np.bincount(seen.pair, weights=hazard, minlength=len(of.rates))
    rates = np.maximum(of.rates + more[:, None], LEAST_RATE * of.rates)
    logs = np.log(np.maximum(of.weights, 1e-300))
    logs += of.shapes * np.log(of.rates / rates)
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return Posterior(of.shapes, rates, weights / weights.sum(axis=1, keepdims=True))
