"""How the fixes of this shop differ before one is looked at, told with what the plain
recipe leaves unused: what the bench declared, and how other fixes of the fault do.

As in `prior`, the ratio of a pair's hazard to the shop's is drawn from one of two
gammas: that of fixes which hold, or that of fixes which come back (the mixture of
DuMouchel 1999, Am. Stat. 53:177–190, here around the expectation of each pair as in
Clayton & Kaldor 1987, Biometrics 43:671–681). But the chance that a pair belongs to
those which hold is its own:

    logit = alpha − beta · [declared a stopgap] + u of its fault,   u ~ N(0, tau²)

so a shop whose bench knows what it does gets a large beta, one whose word means
nothing a beta of nought, and one whose word misleads a negative one. Whichever it is,
the comebacks decide. The effect of a fault is summed out by Gauss–Hermite quadrature.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from repairs.comebacks.prior import BY_DECLARED_AND_FAULT, Prior
from repairs.comebacks.watch import Floats, Ints


@dataclass(frozen=True)
class Beliefs:
    """What is held likely before anything is seen: of each figure (in the order of
    `Figures`, shapes, means and tau by their logs) a normal, and the bounds of it.
    """

    middle: Floats
    spread: Floats
    bounds: tuple[tuple[float, float], ...]
    starts: tuple[tuple[float, ...], ...]  # from where the likeliest figures are sought
    weight: float  # how likely this whole set of beliefs is

    @classmethod
    def about(
        cls,
        *,
        shapes: tuple[tuple[float, float], tuple[float, float]],
        widest: float,
        starts: tuple[tuple[float, float], ...],
        weight: float,
    ) -> "Beliefs":
        """Fixes that hold come back at a third of the shop's rate, the others at nearly
        three times; most hold; the bench's word is worth something; the fixes of one
        fault are somewhat alike. `shapes` says how alike those of one group are.
        """
        middle, spread = np.array(
            [
                shapes[0],
                (-1.2, 1.2),
                shapes[1],
                (1.0, 1.2),
                (1.0, 1.5),
                (1.5, 1.5),
                (np.log(0.5), 0.7),
            ]
        ).T
        shape = (float(np.log(0.22)), widest)
        return cls(
            middle=middle,
            spread=spread,
            bounds=(shape, (-6, 3), shape, (-3, 5), (-5, 5), (-4, 6), (-4, 1.5)),
            starts=tuple(
                (a1, m1, a2, m2, alpha, 1.0, -0.7)
                for (a1, a2), (m1, m2, alpha) in zip(starts, GROUPS, strict=True)
            ),
            weight=weight,
        )


# Log means of both groups, and the logit of the share that holds, to start from.
GROUPS = ((-1.2, 1.0, 1.0), (-2.5, 0.5, 0.0), (-0.4, 1.8, 2.5))

# In most shops fixes differ much even if they all hold. But where all that hold are
# alike and so are all stopgaps, it pays to know: hence the second set, which is taken
# by as much as it accounts better for what was seen.
DIFFERING = Beliefs.about(
    shapes=((np.log(1.5), 0.7), (np.log(3.0), 0.8)),
    widest=np.log(30.0),
    starts=((np.log(2.0), np.log(4.0)), (0.0, 0.0), (np.log(4.0), np.log(3.0))),
    weight=0.9,
)
ALIKE = Beliefs.about(
    shapes=((np.log(80.0), 0.5), (np.log(80.0), 0.5)),
    widest=np.log(500.0),
    starts=((np.log(50.0), np.log(50.0)),) * 3,
    weight=0.1,
)
SETS = (DIFFERING, ALIKE)
DISORDER = 50.0  # how dear it is that those which hold come back more than the others

NODES, _weights = np.polynomial.hermite_e.hermegauss(7)
LOG_WEIGHTS = np.log(_weights / _weights.sum())


@dataclass(frozen=True)
class Figures:
    """The seven figures of the model as they are meant, not as they are fitted."""

    shapes: tuple[float, float]
    means: tuple[float, float]
    alpha: float
    beta: float
    tau: float

    @classmethod
    def of(cls, x: Floats) -> "Figures":
        a1, m1, a2, m2 = (float(v) for v in np.exp(x[:4]))
        return cls((a1, a2), (m1, m2), float(x[4]), float(x[5]), float(np.exp(x[6])))

    def share_that_holds(self, *, is_stopgap: bool) -> float:
        """The chance that a fix so declared belongs to those which hold."""
        logits = self.alpha - self.beta * is_stopgap + self.tau * NODES
        return float(expit(logits) @ np.exp(LOG_WEIGHTS))

    def as_prior(self, *, stopgaps: float) -> Prior:
        """The two groups, in a shop that declares this share of its pairs stopgaps."""
        lasting = self.share_that_holds(is_stopgap=False)
        stopgap = self.share_that_holds(is_stopgap=True)
        holds = (1.0 - stopgaps) * lasting + stopgaps * stopgap
        (a1, a2), (m1, m2) = self.shapes, self.means
        return Prior(
            shapes=(a1, a2),
            rates=(a1 / m1, a2 / m2),
            weights=(holds, 1.0 - holds),
            basis=BY_DECLARED_AND_FAULT,
        )


class Evidence:
    """What was seen of the pairs, and how well seven figures account for it."""

    def __init__(
        self,
        *,
        returned: Ints,
        expected: Floats,
        is_stopgap: NDArray[np.bool_],
        fault: Ints,
    ) -> None:
        # Pairs of a fault lie together, so that a fault's sum is one stretch.
        order = np.argsort(fault, kind="stable")
        self._fault = fault[order]
        is_new = np.r_[True, np.diff(self._fault) != 0][: len(order)]
        self._starts = np.flatnonzero(is_new)
        self._number = np.cumsum(is_new) - 1
        self.returned = returned[order]
        self.expected = np.maximum(expected[order], 1e-12)
        self._stopgap = is_stopgap[order].astype(np.int64)
        self._counting = np.arange(self.returned.max(initial=0))
        self.in_given_order = np.argsort(order, kind="stable")

    @property
    def pairs(self) -> int:
        return len(self.returned)

    def thinned(self, pairs: int) -> "Evidence":
        """About so many of the pairs, by whole faults, evenly over all of them."""
        keep = self._number % -(-self.pairs // pairs) == 0
        return Evidence(
            returned=self.returned[keep],
            expected=self.expected[keep],
            is_stopgap=self._stopgap[keep] == 1,
            fault=self._fault[keep],
        )

    def loss(self, x: Floats, beliefs: Beliefs) -> tuple[float, Floats]:
        """Minus the log of belief × likelihood (but for a constant), and its slope."""
        first, first_slope = self._component(x[0], x[1])
        second, second_slope = self._component(x[2], x[3])
        found = self._mixed(x, first, second)
        slope = np.empty(7)
        slope[0:2] = first_slope @ found.share
        slope[2:4] = second_slope @ (1.0 - found.share)
        pull = found.by_fault[self._number] * (found.holds - found.prior_holds)
        by_pair = pull.sum(axis=1)
        slope[4], slope[5] = by_pair.sum(), -(by_pair @ self._stopgap)
        slope[6] = np.exp(x[6]) * float((pull @ NODES).sum())
        away = (x - beliefs.middle) / beliefs.spread
        value = found.log_likelihood - 0.5 * float(away @ away)
        slope -= away / beliefs.spread
        if (disorder := x[1] - x[3]) > 0.0:
            value -= DISORDER * disorder**2
            slope[1] -= 2.0 * DISORDER * disorder
            slope[3] += 2.0 * DISORDER * disorder
        return -value, -slope

    def log_density(self, x: Floats, beliefs: Beliefs) -> tuple[float, Floats]:
        """Log of belief × likelihood, and each pair's chance to be one that holds."""
        first, _ = self._component(x[0], x[1], with_slope=False)
        second, _ = self._component(x[2], x[3], with_slope=False)
        found = self._mixed(x, first, second)
        away = (x - beliefs.middle) / beliefs.spread
        density = found.log_likelihood - 0.5 * float(away @ away)
        disorder = max(float(x[1] - x[3]), 0.0)
        return density - DISORDER * disorder**2, found.share

    def _component(
        self, log_shape: float, log_mean: float, *, with_slope: bool = True
    ) -> tuple[Floats, Floats]:
        """Log chance of each pair's comebacks under one gamma (negative binomial, less
        what is the same for any figures), and its slope by log shape and log mean.
        """
        a, o = np.exp(log_shape), self.returned
        ratio = self.expected * np.exp(log_mean) / a
        log1p = np.log1p(ratio)
        steps = np.r_[0.0, np.cumsum(np.log(a + self._counting))][o]
        logs = steps - a * log1p + o * (np.log(ratio) - log1p)
        if not with_slope:
            return logs, logs
        slopes = np.r_[0.0, np.cumsum(1.0 / (a + self._counting))][o]
        by_shape = slopes - log1p + (ratio - o / a) / (1.0 + ratio)
        return logs, np.stack([a * by_shape, (o - a * ratio) / (1.0 + ratio)])

    def _mixed(self, x: Floats, first: Floats, second: Floats) -> "_Mixed":
        """Both groups and all sizes of the faults' effects weighed together."""
        logits = x[4] - x[5] * np.array([[0.0], [1.0]]) + np.exp(x[6]) * NODES
        prior_holds = expit(logits)[self._stopgap]
        prior_back = expit(-logits)[self._stopgap]
        top = np.maximum(first, second)
        holds = prior_holds * np.exp(first - top)[:, None]
        either = holds + prior_back * np.exp(second - top)[:, None]
        holds /= either
        logs = np.add.reduceat(np.log(either), self._starts, axis=0) + LOG_WEIGHTS
        highest = logs.max(axis=1, keepdims=True)
        by_fault = np.exp(logs - highest)
        total = by_fault.sum(axis=1, keepdims=True)
        by_fault /= total
        return _Mixed(
            log_likelihood=float((np.log(total) + highest).sum() + top.sum()),
            by_fault=by_fault,
            prior_holds=prior_holds,
            holds=holds,
            share=(by_fault[self._number] * holds).sum(axis=1),
        )


@dataclass(frozen=True)
class _Mixed:
    log_likelihood: float
    by_fault: Floats  # weight of each size of its effect: a row a fault
    prior_holds: Floats  # chance to be one that holds before: a row a pair
    holds: Floats  # and after its comebacks, at each size of the fault's effect
    share: Floats  # and over all sizes


def fitted(
    evidence: Evidence, beliefs: Beliefs, *, starts: Sequence[Floats] = ()
) -> Floats:
    """The likeliest figures given the beliefs."""
    tries = [
        minimize(
            evidence.loss,
            np.array(start),
            args=(beliefs,),
            jac=True,
            method="L-BFGS-B",
            bounds=beliefs.bounds,
        )
        for start in (starts or beliefs.starts)
    ]
    return np.asarray(min(tries, key=lambda found: float(found.fun)).x)


def curvature(
    evidence: Evidence, x: Floats, beliefs: Beliefs, *, step: float = 1e-3
) -> Floats:
    """Second derivatives of the loss at `x`, from differences of its slope."""
    rows = [
        (
            evidence.loss(x + step * unit, beliefs)[1]
            - evidence.loss(x - step * unit, beliefs)[1]
        )
        / (2.0 * step)
        for unit in np.eye(len(x))
    ]
    found = np.array(rows)
    return np.asarray(0.5 * (found + found.T))
