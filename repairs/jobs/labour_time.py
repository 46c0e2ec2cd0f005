"""How long a fix takes, from the minutes written down and the fault book's own.

The log of minutes over the book's usual minutes is a mean of the shop, plus an effect
of the fix, plus one of the pair of fault and fix, plus chance, all normal. The spreads
of the three are by restricted maximum likelihood (Patterson & Thompson 1971, Biometrika
58:545–554); each effect is then drawn towards nought by as much as little is known of
it. So a pair done once takes about what its fix takes, and a fix never done takes what
the book says. Times that are lognormal: MIL-HDBK-338B, 5.6.2.
"""

import math
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

Floats = NDArray[np.float64]

Z80 = 0.8416212335729143  # 80 % of a normal lie below
FEW = 20  # below this many repairs, or three fixes, the usual spreads are taken
WILD = 4.0  # usual deviations from the middle of a fix: no further is believed
LEAST_SPREAD = 1e-4


@dataclass(frozen=True)
class Lognormal:
    """A time whose logarithm is normal, in the unit it was given in."""

    mu: float
    sigma: float

    @property
    def median(self) -> float:
        return math.exp(self.mu)

    @property
    def mean(self) -> float:
        return math.exp(self.mu + self.sigma**2 / 2)

    @property
    def point80(self) -> float:
        """Four of five take no longer."""
        return self.point(Z80)

    def point(self, z: float) -> float:
        """The time that lies `z` deviations above the middle."""
        return math.exp(self.mu + z * self.sigma)


def lognormal(times: Sequence[float]) -> Lognormal:
    """The lognormal of a single sample of times, with the divisor n − 1."""
    logs = np.log(np.asarray(times, dtype=np.float64))
    return Lognormal(float(logs.mean()), float(logs.std(ddof=1)))


@dataclass(frozen=True)
class Timed:
    """One repair: its fault, its fix, minutes taken, and those the book calls usual."""

    fault: Hashable
    fix: Hashable
    minutes: int
    usual: int


@dataclass(frozen=True)
class Spreads:
    """Variances of the log: between fixes, between pairs of a fix, within a pair."""

    fixes: float
    pairs: float
    within: float

    @property
    def all(self) -> float:
        return self.fixes + self.pairs + self.within


USUAL = Spreads(fixes=0.25**2, pairs=0.15**2, within=0.35**2)
"""Held while the record is too short to tell."""


@dataclass(frozen=True)
class Pairs:
    """Repairs of each pair: how many, the mean log, and the squares about it."""

    fix: NDArray[np.int64]
    n: Floats
    mean: Floats
    squares: Floats

    def by_fix(self, values: Floats) -> Floats:
        return np.bincount(self.fix, weights=values).astype(np.float64)


@dataclass(frozen=True)
class LabourTimes:
    """What is known of all fixes; ask it for one pair."""

    spreads: Spreads
    shop: float
    """Mean log of the minutes over the book's."""
    of_fix: dict[Hashable, tuple[float, float]]
    of_pair: dict[tuple[Hashable, Hashable], tuple[float, float]]
    """Middle and variance of the effects, those of fix and shop included."""
    done: dict[tuple[Hashable, Hashable], int]

    def of(self, fault: Hashable, fix: Hashable, *, usual: int) -> Lognormal:
        """How long the next repair of this pair takes, in minutes."""
        spreads = self.spreads
        middle, variance = self.of_pair.get((fault, fix)) or self._of_fix(fix)
        return Lognormal(
            math.log(max(usual, 1)) + middle, math.sqrt(variance + spreads.within)
        )

    def _of_fix(self, fix: Hashable) -> tuple[float, float]:
        middle, variance = self.of_fix.get(fix, (self.shop, self.spreads.fixes))
        return middle, variance + self.spreads.pairs


def labour_times(
    repairs: Iterable[Timed],
    *,
    book_spread: float = 0.25,
    spreads: Spreads | None = None,
) -> LabourTimes:
    """What all repairs on record say of the minutes that each pair takes.

    Repairs without minutes are left out, since nobody wrote them down. The shop's own
    mean is drawn towards the book's minutes, which lie within `book_spread` (a standard
    deviation of the log) of the truth. `spreads` takes the place of those reckoned.
    """
    kept = [one for one in repairs if one.minutes > 0]
    keys = list(dict.fromkeys((one.fault, one.fix) for one in kept))
    fixes = list(dict.fromkeys(fix for _, fix in keys))
    pairs = _pairs(kept, keys, fixes)
    if spreads is None:
        is_few = len(kept) < FEW or len(fixes) < 3 or len(kept) == len(keys)
        spreads = USUAL if is_few else spreads_of(pairs)
    # So that the mean of a fix never done is what the book says.
    book = -spreads.all / 2
    shop = _shop(pairs, spreads, book, book_spread**2)
    of_fix, of_pair = _effects(pairs, spreads, shop)
    return LabourTimes(
        spreads,
        shop,
        dict(zip(fixes, of_fix, strict=True)),
        dict(zip(keys, of_pair, strict=True)),
        dict(zip(keys, pairs.n.astype(int).tolist(), strict=True)),
    )


def _pairs(
    kept: list[Timed],
    keys: list[tuple[Hashable, Hashable]],
    fixes: list[Hashable],
) -> Pairs:
    number = {key: n for n, key in enumerate(keys)}
    fix_number = {fix: n for n, fix in enumerate(fixes)}
    pair = np.array([number[one.fault, one.fix] for one in kept], dtype=np.int64)
    fix = np.array([fix_number[fix] for _, fix in keys], dtype=np.int64)
    logs = np.array([math.log(one.minutes / max(one.usual, 1)) for one in kept])
    if kept:
        logs = _tamed(logs, fix[pair])
    n = np.bincount(pair, minlength=len(keys)).astype(np.float64)
    mean = np.bincount(pair, weights=logs, minlength=len(keys)) / n
    off = (logs - mean[pair]) ** 2
    squares = np.bincount(pair, weights=off, minlength=len(keys)).astype(np.float64)
    return Pairs(fix=fix, n=n, mean=mean, squares=squares)


def _tamed(logs: Floats, fix: NDArray[np.int64]) -> Floats:
    """Wild times drawn in: a timer that ran over night says little of a fix.

    They are judged about the median of their fix (of the shop, where a fix has but one
    or two) by the median deviation of the shop.
    """
    middle = np.full(int(fix.max()) + 1, np.median(logs))
    order = np.argsort(fix, kind="stable")
    ends = np.cumsum(np.bincount(fix))
    for number, of_fix in enumerate(np.split(logs[order], ends[:-1])):
        if len(of_fix) > 2:
            middle[number] = np.median(of_fix)
    off = logs - middle[fix]
    usual = max(1.4826 * float(np.median(np.abs(off))), math.sqrt(USUAL.within))
    return np.asarray(middle[fix] + off.clip(-WILD * usual, WILD * usual))


def spreads_of(pairs: Pairs) -> Spreads:
    """The spreads that restricted maximum likelihood finds."""
    total = float(pairs.squares.sum() + (pairs.n * pairs.mean**2).sum()) / pairs.n.sum()
    start = np.log(np.full(3, max(math.sqrt(total / 3), 0.05)))
    low, high = math.log(LEAST_SPREAD), math.log(10.0)
    found = minimize(
        _deviance,
        start,
        args=(pairs,),
        method="L-BFGS-B",
        bounds=[(low, high), (low, high), (math.log(0.02), high)],
    )
    variances = np.exp(2 * found.x)
    return Spreads(*(float(v) for v in variances))


def _deviance(log_spreads: Floats, pairs: Pairs) -> float:
    """−2 × the restricted log likelihood, but for what all spreads share."""
    fixes, between, within = np.exp(2 * log_spreads)
    own = between + within / pairs.n
    weight = pairs.by_fix(1 / own)
    once = pairs.by_fix(pairs.mean / own)
    shrunk = 1 + fixes * weight
    information = float((weight / shrunk).sum())
    mean = float((once / shrunk).sum()) / information
    off = pairs.mean - mean
    square = float((off**2 / own).sum())
    square -= float((fixes / shrunk * pairs.by_fix(off / own) ** 2).sum())
    free = float((pairs.n - 1).sum())
    return float(
        free * math.log(within)
        + pairs.squares.sum() / within
        + np.log(own).sum()
        + np.log(shrunk).sum()
        + square
        + math.log(information)
    )


def _shop(pairs: Pairs, spreads: Spreads, book: float, variance: float) -> float:
    """The shop's mean, drawn towards the book's."""
    if not len(pairs.n):
        return book
    own = spreads.pairs + spreads.within / pairs.n
    shrunk = 1 + spreads.fixes * pairs.by_fix(1 / own)
    information = float((pairs.by_fix(1 / own) / shrunk).sum())
    seen = float((pairs.by_fix(pairs.mean / own) / shrunk).sum())
    return (seen + book / variance) / (information + 1 / variance)


def _effects(
    pairs: Pairs, spreads: Spreads, shop: float
) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Middle and variance of each fix, then of each pair, shop and fix included."""
    own = spreads.pairs + spreads.within / pairs.n
    weight = pairs.by_fix(1 / own)
    shrunk = 1 + spreads.fixes * weight
    fix = shop + spreads.fixes * pairs.by_fix((pairs.mean - shop) / own) / shrunk
    fix_variance = spreads.fixes / shrunk
    keep = spreads.pairs / own
    pair = fix[pairs.fix] + keep * (pairs.mean - fix[pairs.fix])
    variance = spreads.pairs * (1 - keep) + (1 - keep) ** 2 * fix_variance[pairs.fix]
    return (
        list(zip(fix.tolist(), fix_variance.tolist(), strict=True)),
        list(zip(pair.tolist(), variance.tolist(), strict=True)),
    )
