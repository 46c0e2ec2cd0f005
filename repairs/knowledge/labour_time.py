"""Estimate how long a fix takes, from minutes recorded and the fault book's minutes.

The log of recorded over usual minutes is the sum of a shop mean, an effect of the fix,
an effect of the pair of fault and fix, and an error, all normal. The variances are
estimated by restricted maximum likelihood (Patterson & Thompson 1971, Biometrika
58:545–554); the effects are the best linear unbiased predictions. So a pair repaired
once takes about as long as its fix, and a fix without repairs as long as the book says.
Lognormal times: MIL-HDBK-338B, 5.6.2.
"""

import math
from collections.abc import Hashable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]

MIN_REPAIRS, MIN_FIXES = 20, 3  # with fewer, the default variances are used
OUTLIER_Z = 4.0  # standard deviations from the median of a fix; others are clipped
MIN_SD = 1e-4


@dataclass(frozen=True)
class Lognormal:
    """A lognormal time; all values are in one unit, such as minutes."""

    mu: float
    sigma: float

    @property
    def median(self) -> float:
        return math.exp(self.mu)

    @property
    def mean(self) -> float:
        return math.exp(self.mu + self.sigma**2 / 2)

    def quantile(self, z: float) -> float:
        """Return the time `z` standard deviations above the median."""
        return math.exp(self.mu + z * self.sigma)


@dataclass(frozen=True)
class VarianceComponents:
    """Variances of the log: between fixes, between pairs of a fix, within a pair."""

    fixes: float
    pairs: float
    within: float

    @property
    def total(self) -> float:
        return self.fixes + self.pairs + self.within


DEFAULT_VARIANCES = VarianceComponents(fixes=0.25**2, pairs=0.15**2, within=0.35**2)
"""Used while there are too few repairs."""


@dataclass(frozen=True)
class PairSummary:
    """Repairs of each pair: number, mean log, and sum of squares about the mean."""

    fix: NDArray[np.int64]
    n: Floats
    mean: Floats
    squares: Floats

    def by_fix(self, values: Floats) -> Floats:
        return np.bincount(self.fix, weights=values).astype(np.float64)

    def own_variance(self, variances: VarianceComponents) -> Floats:
        """Return the variance of each pair's mean about the effect of its fix."""
        return variances.pairs + variances.within / self.n

    def shrinkage(self, variances: VarianceComponents) -> Floats:
        """Return the shrinkage factor of each fix towards the shop mean; 1 is none."""
        return 1 + variances.fixes * self.by_fix(1 / self.own_variance(variances))

    def shop_sums(self, variances: VarianceComponents) -> tuple[float, float]:
        """Return the weighted sum of the means, and the sum of the weights."""
        own, shrinkage = self.own_variance(variances), self.shrinkage(variances)
        sums = (self.by_fix(self.mean / own), self.by_fix(1 / own))
        weighted, weights = (float((each / shrinkage).sum()) for each in sums)
        return weighted, weights


@dataclass(frozen=True)
class LabourTimes:
    """The labour times of all pairs."""

    variances: VarianceComponents
    shop: float
    """Mean log of recorded over usual minutes."""
    by_fix: dict[Hashable, tuple[float, float]]
    by_pair: dict[tuple[Hashable, Hashable], tuple[float, float]]
    """Mean and variance of the effects, including those of fix and shop."""

    def of(self, fault: Hashable, fix: Hashable, *, usual: int) -> Lognormal:
        """Return how long the next repair of this pair takes, in minutes."""
        variances = self.variances
        mean, variance = self.by_pair.get((fault, fix)) or self._of_fix(fix)
        return Lognormal(
            math.log(max(usual, 1)) + mean, math.sqrt(variance + variances.within)
        )

    def _of_fix(self, fix: Hashable) -> tuple[float, float]:
        mean, variance = self.by_fix.get(fix, (self.shop, self.variances.fixes))
        return mean, variance + self.variances.pairs


def labour_times(
    repairs: pd.DataFrame,
    *,
    book_sd: float = 0.25,
    variances: VarianceComponents | None = None,
) -> LabourTimes:
    """Return the labour times of each pair, from all repairs on record.

    Columns of `repairs`: fault, fix, recorded minutes, usual minutes of the fix.
    Repairs without minutes are left out, as their time was not recorded. The shop's
    mean is pooled with the usual minutes, whose log is within `book_sd` (a standard
    deviation) of the truth. `variances` replace the estimated ones.
    """
    timed = repairs[repairs["minutes"] > 0]
    logs = (timed["minutes"] / timed["usual"].clip(lower=1)).transform(np.log)
    timed = timed.assign(log=_clip_outliers(logs, timed["fix"]))
    by_pair = timed.groupby(["fault", "fix"], sort=False)["log"]
    square = (timed["log"] - by_pair.transform("mean")) ** 2
    squares = square.groupby([timed["fault"], timed["fix"]], sort=False).sum()
    keys = list(squares.index)
    number, fixes = pd.factorize(squares.index.get_level_values("fix"))
    pairs = PairSummary(
        fix=number.astype(np.int64),
        n=by_pair.size().to_numpy().astype(np.float64),
        mean=by_pair.mean().to_numpy(dtype=np.float64),
        squares=squares.to_numpy(dtype=np.float64),
    )
    if variances is None:
        is_few = len(timed) < MIN_REPAIRS or len(fixes) < MIN_FIXES
        is_few = is_few or len(timed) == len(keys)
        variances = DEFAULT_VARIANCES if is_few else estimate_variances(pairs)
    # So that a fix without repairs takes what the book says.
    book = -variances.total / 2
    weighted, weights = pairs.shop_sums(variances)
    shop = (weighted + book / book_sd**2) / (weights + 1 / book_sd**2)
    by_fix, of_pair = _effects(pairs, variances, shop)
    return LabourTimes(
        variances,
        shop,
        dict(zip(fixes, by_fix, strict=True)),
        dict(zip(keys, of_pair, strict=True)),
    )


def _clip_outliers(logs: pd.Series, fix: pd.Series) -> pd.Series:
    """Return the logs with outliers clipped, such as a timer left on overnight.

    Limits are set about the median of the fix (of the shop, if a fix has one or two
    repairs) by the shop's median absolute deviation.
    """
    by_fix = logs.groupby(fix)
    medians = by_fix.transform("median")
    centre = medians.where(by_fix.transform("size") > 2, logs.median())
    deviation = logs - centre
    sd = 1.4826 * deviation.abs().median() if len(logs) else 0.0
    limit = OUTLIER_Z * max(sd, math.sqrt(DEFAULT_VARIANCES.within))
    return centre + deviation.clip(-limit, limit)


def estimate_variances(pairs: PairSummary) -> VarianceComponents:
    """Return the restricted maximum likelihood estimate of the variances."""
    total = float(pairs.squares.sum() + (pairs.n * pairs.mean**2).sum()) / pairs.n.sum()
    start = np.log(np.full(3, max(math.sqrt(total / 3), 0.05)))
    low, high = math.log(MIN_SD), math.log(10.0)
    result = minimize(
        _deviance,
        start,
        args=(pairs,),
        method="L-BFGS-B",
        bounds=[(low, high), (low, high), (math.log(0.02), high)],
    )
    return VarianceComponents(*(float(v) for v in np.exp(2 * result.x)))


def _deviance(log_sds: Floats, pairs: PairSummary) -> float:
    """Return −2 × the restricted log likelihood, up to a constant."""
    variances = VarianceComponents(*(float(v) for v in np.exp(2 * log_sds)))
    own, shrinkage = pairs.own_variance(variances), pairs.shrinkage(variances)
    weighted, weights = pairs.shop_sums(variances)
    deviation = pairs.mean - weighted / weights
    of_fix = pairs.by_fix(deviation / own)
    square = (deviation**2 / own).sum() - (
        variances.fixes / shrinkage * of_fix**2
    ).sum()
    return float(
        (pairs.n - 1).sum() * math.log(variances.within)
        + pairs.squares.sum() / variances.within
        + np.log(own).sum()
        + np.log(shrinkage).sum()
        + square
        + math.log(weights)
    )


def _effects(
    pairs: PairSummary, variances: VarianceComponents, shop: float
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Return mean and variance of each fix, then of each pair including its fix."""
    own, shrinkage = pairs.own_variance(variances), pairs.shrinkage(variances)
    by_fix = pairs.by_fix((pairs.mean - shop) / own)
    fix = shop + variances.fixes * by_fix / shrinkage
    fix_variance = variances.fixes / shrinkage
    keep = variances.pairs / own
    pair = fix[pairs.fix] + keep * (pairs.mean - fix[pairs.fix])
    variance = variances.pairs * (1 - keep)
    variance += (1 - keep) ** 2 * fix_variance[pairs.fix]
    return (
        list(zip(fix.tolist(), fix_variance.tolist(), strict=True)),
        list(zip(pair.tolist(), variance.tolist(), strict=True)),
    )
