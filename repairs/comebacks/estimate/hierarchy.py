"""The likelihood of the hierarchical model under its seven parameters.

It uses what the plain prior leaves out: the recorded type, the results of the fault's
other fixes, and those of the same fix on other faults. The effect of a fault is
integrated out by Gauss–Hermite quadrature, that of a fix over the evidence of its other
pairs.
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logsumexp

from repairs.comebacks.estimate.hyperprior import LOG_WEIGHTS, NODES, Hyperprior
from repairs.comebacks.estimate.prior import minimize_from
from repairs.comebacks.watch import Floats, Ints

TINY = 1e-300  # its logarithm is finite

EFFECTS = np.linspace(-4.0, 4.0, 9)  # values of v, the effect of a fix
FIX_SDS = np.array([0.05, 0.5, 1.0, 1.7, 2.5])  # values of its standard deviation
LOG_FIX_SD_PRIOR = np.log([0.4, 0.25, 0.2, 0.1, 0.05])

_logs = -0.5 * (EFFECTS / FIX_SDS[:, None]) ** 2
LOG_EFFECT_PRIOR = _logs - logsumexp(_logs, axis=1, keepdims=True)


class PairCounts:
    """Comebacks and expected comebacks of the pairs, with the model's likelihood."""

    def __init__(
        self,
        *,
        comebacks: Ints,
        expected: Floats,
        is_stopgap: NDArray[np.bool_],
        fault: Ints,
        fix: Ints,
    ) -> None:
        # Pairs of a fault are adjacent, so that a sum over a fault is one slice.
        order = np.argsort(fault, kind="stable")
        self._fault = fault[order]
        is_new = np.r_[True, np.diff(self._fault) != 0][: len(order)]
        self._starts = np.flatnonzero(is_new)
        self._number = np.cumsum(is_new) - 1
        self.fix = np.unique(fix[order], return_inverse=True)[1]
        self.comebacks = comebacks[order]
        self.expected = np.maximum(expected[order], 1e-12)
        self._stopgap = is_stopgap[order].astype(np.int64)
        self._rows_of_type = [np.flatnonzero(self._stopgap == n) for n in (0, 1)]
        self._counting = np.arange(self.comebacks.max(initial=0))
        self.in_given_order = np.argsort(order, kind="stable")
        # Without other pairs of the same fix, no fix has an effect.
        self._effects = np.zeros(1)
        self.effect_weights = np.ones((len(order), 1))
        self._weights_of_type = self._by_type(self.effect_weights)
        self.fix_sd = 0.0

    @property
    def pairs(self) -> int:
        return len(self.comebacks)

    @property
    def has_shared_fixes(self) -> bool:
        """Whether any fix was done for more than one fault."""
        return bool(self.fix.max(initial=-1) + 1 < self.pairs)

    def sample(self, pairs: int) -> "PairCounts":
        """Return about this many pairs: whole faults, evenly chosen."""
        keep = self._number % -(-self.pairs // pairs) == 0
        return PairCounts(
            comebacks=self.comebacks[keep],
            expected=self.expected[keep],
            is_stopgap=self._stopgap[keep] == 1,
            fault=self._fault[keep],
            fix=self.fix[keep],
        )

    def with_fix_effects(self, x: Floats) -> "PairCounts":
        """Return the same with each fix weighted by its pairs on other faults.

        The weights are valid for the parameters `x`.
        """
        mixed = self._mix(x, *self._log_groups(x))
        by_others = mixed.by_fault[self._number] / mixed.either  # without the pair
        by_others /= by_others.sum(axis=1, keepdims=True)
        reliable = _reliable_probability(x, EFFECTS).transpose(0, 2, 1)
        prior = self._weighted(self._by_type(by_others), reliable)
        either = mixed.second + prior * (mixed.first - mixed.second)
        logs = np.log(np.maximum(either, TINY))
        weights, fix_sd = fix_effect_weights(logs, fix=self.fix)
        other = copy.copy(self)
        other._effects, other.effect_weights = EFFECTS, weights
        other._weights_of_type = self._by_type(weights)
        other.fix_sd = fix_sd
        return other

    def loss(self, x: Floats, hyperprior: Hyperprior) -> tuple[float, Floats]:
        """Return the negative log posterior density, up to a constant, and its
        gradient.
        """
        first, first_slope = self._log_group(x[0], x[1])
        second, second_slope = self._log_group(x[2], x[1] + x[3])
        mixed = self._mix(x, first, second)
        slope = np.empty(7)
        slope[0:2] = first_slope @ mixed.share
        slope[2:4] = second_slope @ (1.0 - mixed.share)
        slope[1] += slope[3]
        # Derivative of the log of `either` by the logit, at each node of the fault's
        # effect.
        steepness = self._weighted(
            self._weights_of_type, mixed.reliable * (1.0 - mixed.reliable)
        )
        pull = steepness * (mixed.first - mixed.second) / mixed.either
        pull *= mixed.by_fault[self._number]
        by_pair = pull.sum(axis=1)
        slope[4], slope[5] = by_pair.sum(), -(by_pair @ self._stopgap)
        slope[6] = np.exp(x[6]) * float((pull @ NODES).sum())
        z = (x - hyperprior.mean) / hyperprior.sd
        value = mixed.log_likelihood - 0.5 * float(z @ z)
        return -value, z / hyperprior.sd - slope

    def log_density(self, x: Floats, hyperprior: Hyperprior) -> tuple[float, Floats]:
        """Return the log posterior density, and each pair's probability of being
        reliable.
        """
        mixed = self._mix(x, *self._log_groups(x))
        z = (x - hyperprior.mean) / hyperprior.sd
        return mixed.log_likelihood - 0.5 * float(z @ z), mixed.share

    def _log_groups(self, x: Floats) -> tuple[Floats, Floats]:
        first, _ = self._log_group(x[0], x[1], with_slope=False)
        second, _ = self._log_group(x[2], x[1] + x[3], with_slope=False)
        return first, second

    def _log_group(
        self, log_shape: float, log_mean: float, *, with_slope: bool = True
    ) -> tuple[Floats, Floats]:
        """Return the negative binomial log likelihood of each pair under one gamma.

        Without the terms that do not depend on the parameters. With it comes its
        gradient by log shape and log mean.
        """
        a, o = np.exp(log_shape), self.comebacks
        ratio = self.expected * np.exp(log_mean) / a
        log1p = np.log1p(ratio)
        steps = _prefix_sums(np.log(a + self._counting))[o]
        logs = steps - a * log1p + o * (np.log(ratio) - log1p)
        if not with_slope:
            return logs, logs
        slopes = _prefix_sums(1.0 / (a + self._counting))[o]
        by_shape = slopes - log1p + (ratio - o / a) / (1.0 + ratio)
        return logs, np.stack([a * by_shape, (o - a * ratio) / (1.0 + ratio)])

    def _mix(self, x: Floats, first: Floats, second: Floats) -> "_Mixture":
        """Return both groups weighted together at all nodes of the faults' effects."""
        reliable = _reliable_probability(x, self._effects)
        prior = self._weighted(self._weights_of_type, reliable)
        top = np.maximum(first, second)
        in_first, in_second = (np.exp(logs - top)[:, None] for logs in (first, second))
        either = np.maximum(in_second + prior * (in_first - in_second), TINY)
        logs = np.add.reduceat(np.log(either), self._starts, axis=0) + LOG_WEIGHTS
        highest = logs.max(axis=1, keepdims=True)
        by_fault = np.exp(logs - highest)
        total = by_fault.sum(axis=1, keepdims=True)
        by_fault /= total
        return _Mixture(
            log_likelihood=float((np.log(total) + highest).sum() + top.sum()),
            first=in_first,
            second=in_second,
            either=either,
            by_fault=by_fault,
            reliable=reliable,
            share=(by_fault[self._number] * prior * in_first / either).sum(axis=1),
        )

    def _by_type(self, weights: Floats) -> list[Floats]:
        return [weights[rows] for rows in self._rows_of_type]

    def _weighted(self, weights: list[Floats], tables: Floats) -> Floats:
        """Return each pair's weights (a row) times the table of its recorded type."""
        result = np.empty((self.pairs, tables.shape[1]))
        for rows, part, table in zip(self._rows_of_type, weights, tables, strict=True):
            result[rows] = part @ table.T
        return result


@dataclass(frozen=True)
class _Mixture:
    log_likelihood: float
    first: Floats  # likelihood of a pair (row) in the group of reliable fixes, and
    second: Floats  # in the other one, relative to the greater of the two
    either: Floats  # and the mixture of both, at each node of its fault's effect
    by_fault: Floats  # posterior weight of each node: a row per fault
    reliable: Floats  # prior probability of being reliable, by type and both effects
    share: Floats  # posterior probability of a pair being reliable


def _prefix_sums(values: Floats) -> Floats:
    sums = np.zeros(len(values) + 1)
    np.cumsum(values, out=sums[1:])
    return sums


def _reliable_probability(x: Floats, effects: Floats) -> Floats:
    """Return the prior probability of being reliable.

    Axes: recorded type (lasting, stopgap), effect of the fault, effect of the fix.
    """
    by_type = x[4] - x[5] * np.array([0.0, 1.0])
    by_fault = np.exp(x[6]) * NODES
    return np.asarray(expit(np.add.outer(np.add.outer(by_type, by_fault), effects)))


def fix_effect_weights(logs: Floats, *, fix: Ints) -> tuple[Floats, float]:
    """Return how probable each effect of a pair's fix is, and the effects' mean SD.

    `logs` are the log likelihoods of each pair (row) under each effect, `fix` is the
    number of its fix. A fix moves the log odds of its pairs by v ~ N(0, s²), with one
    unknown s for all fixes. Faults and fixes cross, so u and v cannot both be
    integrated out. But few fixes of one fault are together on another one, too: each
    fix is judged by all its pairs but the one in question (belief propagation, Pearl
    1988, in one round: exact where no two pairs are tied by more than one path).
    """
    by_fix = np.stack([np.bincount(fix, weights=each) for each in logs.T], axis=1)
    # Axes: standard deviation, fix or pair, effect.
    total = logsumexp(LOG_EFFECT_PRIOR[:, None] + by_fix, axis=2).sum(axis=1)
    by_sd = LOG_FIX_SD_PRIOR + total
    by_sd = np.exp(by_sd - logsumexp(by_sd))
    others = LOG_EFFECT_PRIOR[:, None] + (by_fix[fix] - logs)
    others = np.exp(others - others.max(axis=2, keepdims=True))
    others /= others.sum(axis=2, keepdims=True)
    return np.tensordot(by_sd, others, axes=1), float(by_sd @ FIX_SDS)


def fit_parameters(
    pair_counts: PairCounts, hyperprior: Hyperprior, *, starts: Sequence[Floats] = ()
) -> Floats:
    """Return the parameters of highest posterior density."""
    return minimize_from(
        pair_counts.loss,
        starts=starts or hyperprior.starts,
        bounds=hyperprior.bounds,
        args=(hyperprior,),
        jac=True,
    )


def curvature(
    pair_counts: PairCounts, x: Floats, hyperprior: Hyperprior, *, step: float = 1e-3
) -> Floats:
    """Return the second derivatives of the loss at `x`, from its gradient."""
    rows = [
        (
            pair_counts.loss(x + step * unit, hyperprior)[1]
            - pair_counts.loss(x - step * unit, hyperprior)[1]
        )
        / (2.0 * step)
        for unit in np.eye(len(x))
    ]
    matrix = np.array(rows)
    return np.asarray(0.5 * (matrix + matrix.T))
