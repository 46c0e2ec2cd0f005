"""How well seven figures of the shop (`beliefs`) account for what was seen of its
pairs: the likelihood, with what the plain recipe leaves unused: what was declared, how
other fixes of the fault do, and how the same fix does on other faults.

The effect of a fault is summed out by Gauss–Hermite quadrature, that of a fix over what
its other pairs tell of it (`elsewhere`).
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from repairs.comebacks.beliefs import LOG_WEIGHTS, NODES, Beliefs
from repairs.comebacks.elsewhere import EFFECTS, hints
from repairs.comebacks.watch import Floats, Ints

LEAST = 1e-300  # a logarithm must be had of it


class Evidence:
    """What was seen of the pairs, and how well seven figures account for it."""

    def __init__(
        self,
        *,
        returned: Ints,
        expected: Floats,
        is_stopgap: NDArray[np.bool_],
        fault: Ints,
        fix: Ints,
    ) -> None:
        # Pairs of a fault lie together, so that a fault's sum is one stretch.
        order = np.argsort(fault, kind="stable")
        self._fault = fault[order]
        is_new = np.r_[True, np.diff(self._fault) != 0][: len(order)]
        self._starts = np.flatnonzero(is_new)
        self._number = np.cumsum(is_new) - 1
        self.fix = np.unique(fix[order], return_inverse=True)[1]
        self.returned = returned[order]
        self.expected = np.maximum(expected[order], 1e-12)
        self._stopgap = is_stopgap[order].astype(np.int64)
        self._declared = [np.flatnonzero(self._stopgap == word) for word in (0, 1)]
        self._counting = np.arange(self.returned.max(initial=0))
        self.in_given_order = np.argsort(order, kind="stable")
        # Until it is asked what a fix does elsewhere, none has an effect.
        self._effects = np.zeros(1)
        self.hinted = np.ones((len(order), 1))
        self._hinted = self._by_declared(self.hinted)
        self.between_fixes = 0.0

    @property
    def pairs(self) -> int:
        return len(self.returned)

    @property
    def is_any_fix_elsewhere(self) -> bool:
        """Whether a fix was done for more than one fault."""
        return bool(self.fix.max(initial=-1) + 1 < self.pairs)

    def thinned(self, pairs: int) -> "Evidence":
        """About so many of the pairs, by whole faults, evenly over all of them."""
        keep = self._number % -(-self.pairs // pairs) == 0
        return Evidence(
            returned=self.returned[keep],
            expected=self.expected[keep],
            is_stopgap=self._stopgap[keep] == 1,
            fault=self._fault[keep],
            fix=self.fix[keep],
        )

    def hinted_by_fixes(self, x: Floats) -> "Evidence":
        """The same, knowing of each pair what its fix does on other faults, if the
        shop's figures are about these.
        """
        found = self._mixed(x, *self._either_group(x))
        by_others = found.by_fault[self._number] / found.either  # without the pair
        by_others /= by_others.sum(axis=1, keepdims=True)
        holds = _chances(x, EFFECTS).transpose(0, 2, 1)
        prior = self._by_word(self._by_declared(by_others), holds)
        logs = np.log(np.maximum(found.back + prior * (found.held - found.back), LEAST))
        told = hints(logs, fix=self.fix)
        other = copy.copy(self)
        other._effects, other.hinted = EFFECTS, told.weights
        other._hinted = self._by_declared(told.weights)
        other.between_fixes = told.spread
        return other

    def loss(self, x: Floats, beliefs: Beliefs) -> tuple[float, Floats]:
        """Minus the log of belief × likelihood (but for a constant), and its slope."""
        first, first_slope = self._group(x[0], x[1])
        second, second_slope = self._group(x[2], x[1] + x[3])
        found = self._mixed(x, first, second)
        slope = np.empty(7)
        slope[0:2] = first_slope @ found.share
        slope[2:4] = second_slope @ (1.0 - found.share)
        slope[1] += slope[3]
        # Slope of the log of `either` by the logit, at each size of the fault's effect.
        steepness = self._by_word(self._hinted, found.chances * (1.0 - found.chances))
        pull = steepness * (found.held - found.back) / found.either
        pull *= found.by_fault[self._number]
        by_pair = pull.sum(axis=1)
        slope[4], slope[5] = by_pair.sum(), -(by_pair @ self._stopgap)
        slope[6] = np.exp(x[6]) * float((pull @ NODES).sum())
        away = (x - beliefs.middle) / beliefs.spread
        value = found.log_likelihood - 0.5 * float(away @ away)
        return -value, away / beliefs.spread - slope

    def log_density(self, x: Floats, beliefs: Beliefs) -> tuple[float, Floats]:
        """Log of belief × likelihood, and each pair's chance to be one that holds."""
        found = self._mixed(x, *self._either_group(x))
        away = (x - beliefs.middle) / beliefs.spread
        return found.log_likelihood - 0.5 * float(away @ away), found.share

    def _either_group(self, x: Floats) -> tuple[Floats, Floats]:
        first, _ = self._group(x[0], x[1], with_slope=False)
        second, _ = self._group(x[2], x[1] + x[3], with_slope=False)
        return first, second

    def _group(
        self, log_shape: float, log_mean: float, *, with_slope: bool = True
    ) -> tuple[Floats, Floats]:
        """Log chance of each pair's comebacks under one gamma (negative binomial, less
        what is the same for any figures), and its slope by log shape and log mean.
        """
        a, o = np.exp(log_shape), self.returned
        ratio = self.expected * np.exp(log_mean) / a
        log1p = np.log1p(ratio)
        steps = _added_up(np.log(a + self._counting))[o]
        logs = steps - a * log1p + o * (np.log(ratio) - log1p)
        if not with_slope:
            return logs, logs
        slopes = _added_up(1.0 / (a + self._counting))[o]
        by_shape = slopes - log1p + (ratio - o / a) / (1.0 + ratio)
        return logs, np.stack([a * by_shape, (o - a * ratio) / (1.0 + ratio)])

    def _mixed(self, x: Floats, first: Floats, second: Floats) -> "_Mixed":
        """Both groups and all sizes of the faults' effects weighed together."""
        chances = _chances(x, self._effects)
        prior = self._by_word(self._hinted, chances)
        top = np.maximum(first, second)
        held, back = np.exp(first - top)[:, None], np.exp(second - top)[:, None]
        either = np.maximum(back + prior * (held - back), LEAST)
        logs = np.add.reduceat(np.log(either), self._starts, axis=0) + LOG_WEIGHTS
        highest = logs.max(axis=1, keepdims=True)
        by_fault = np.exp(logs - highest)
        total = by_fault.sum(axis=1, keepdims=True)
        by_fault /= total
        return _Mixed(
            log_likelihood=float((np.log(total) + highest).sum() + top.sum()),
            held=held,
            back=back,
            either=either,
            by_fault=by_fault,
            chances=chances,
            share=(by_fault[self._number] * prior * held / either).sum(axis=1),
        )

    def _by_declared(self, weights: Floats) -> list[Floats]:
        """These of the pairs (a row a pair), of either word apart."""
        return [weights[rows] for rows in self._declared]

    def _by_word(self, weights: list[Floats], tables: Floats) -> Floats:
        """A pair's weights (a row a pair) by the table of what was declared of it."""
        found = np.empty((self.pairs, tables.shape[1]))
        for rows, of_word, table in zip(self._declared, weights, tables, strict=True):
            found[rows] = of_word @ table.T
        return found


@dataclass(frozen=True)
class _Mixed:
    log_likelihood: float
    held: Floats  # chance of what was seen of a pair (a row) if it holds, and if it
    back: Floats  # comes back, the greater taken as one
    either: Floats  # and whichever it is, at each size of its fault's effect
    by_fault: Floats  # weight of each size of its effect: a row a fault
    chances: Floats  # to be one that holds, by word and by either effect
    share: Floats  # chance of a pair to be one that holds, over all sizes


def _added_up(each: Floats) -> Floats:
    """The sum of the first 0, 1, 2 … of them."""
    sums = np.zeros(len(each) + 1)
    np.cumsum(each, out=sums[1:])
    return sums


def _chances(x: Floats, effects: Floats) -> Floats:
    """Chance to be one that holds: of what is declared lasting and of what is declared
    a stopgap (first axis), by the effect of the fault (second) and of the fix (third).
    """
    declared = x[4] - x[5] * np.array([0.0, 1.0])
    of_fault = np.exp(x[6]) * NODES
    return np.asarray(expit(np.add.outer(np.add.outer(declared, of_fault), effects)))


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
