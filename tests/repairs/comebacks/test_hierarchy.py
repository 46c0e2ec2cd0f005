"""The hierarchical model: its likelihood, its fit and its posterior."""

from itertools import product

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, gammaln, xlogy
from scipy.stats import nbinom, norm

from repairs.comebacks.estimate.averaging import bayesian_model_average, student_t_nodes
from repairs.comebacks.estimate.hierarchy import (
    EFFECTS,
    FIX_SDS,
    LOG_FIX_SD_PRIOR,
    PairCounts,
    fit_parameters,
)
from repairs.comebacks.estimate.hyperprior import (
    ALIKE,
    DIFFERENT,
    HYPERPRIORS,
    LOG_WEIGHTS,
    NODES,
    HyperParameters,
)

SOME = np.array([0.4, -0.9, 0.8, 2.1, 1.4, 1.1, -0.6])


def evidence(returned, expected, *, stopgap=None, fault=None, fix=None):
    n = len(returned)
    return PairCounts(
        comebacks=np.asarray(returned, dtype=np.int64),
        expected=np.asarray(expected, dtype=np.float64),
        is_stopgap=np.zeros(n, dtype=bool) if stopgap is None else np.array(stopgap),
        fault=np.arange(n) if fault is None else np.asarray(fault),
        fix=np.arange(n) if fix is None else np.asarray(fix),
    )


def shop(n=400, *, seed=2, sense=(0.1, 0.6), fault=0.0, fix=0.0, a=(2.0, 6.0)):
    """Simulated pairs; a fifth of them comes back. Mean ratios are 0.3 and 3.

    `sense` is how often reliable and other fixes are recorded as stopgaps, `fault` and
    `fix` are the standard deviations of their effects.
    """
    rng = np.random.default_rng(seed)
    spread_of_faults, spread_of_fixes = fault, fix
    fault = rng.integers(0, n // 4, n)
    effect = rng.normal(0, spread_of_faults, n // 4)[fault]
    fix = np.arange(n)
    if spread_of_fixes:
        fix = rng.integers(0, n // 6, n)
        effect += rng.normal(0, spread_of_fixes, n // 6)[fix]
    comes_back = rng.random(n) < expit(np.log(0.25) + effect)
    expected = rng.gamma(1.0, 2.0, n)
    ratio = np.where(
        comes_back, rng.gamma(a[1], 3 / a[1], n), rng.gamma(a[0], 0.3 / a[0], n)
    )
    stopgap = rng.random(n) < np.where(comes_back, sense[1], sense[0])
    returned = rng.poisson(ratio * expected)
    seen = evidence(returned, expected, stopgap=stopgap, fault=fault, fix=fix)
    return seen, comes_back, ratio


def test_the_slope_is_that_of_the_loss():
    plain, *_ = shop(60, fault=1.0, fix=1.0)
    for seen, beliefs in product([plain, plain.with_fix_effects(SOME)], HYPERPRIORS):
        x = SOME + 0.1
        steps = [
            (seen.loss(x + e, beliefs)[0] - seen.loss(x - e, beliefs)[0]) / 2e-5
            for e in 1e-5 * np.eye(7)
        ]
        assert seen.loss(x, beliefs)[1] == pytest.approx(steps, rel=1e-5, abs=1e-5)


def test_the_likelihood_equals_scipy_with_numeric_integration():
    returned = np.array([0, 2, 5, 1, 0])
    expected = np.array([0.3, 1.0, 1.5, 2.0, 0.1])
    stopgap = np.array([False, True, True, False, False])
    fault = np.array([0, 0, 1, 1, 1])
    found = HyperParameters.of(SOME)

    def chance(i, u):
        holds = expit(found.alpha - found.beta * stopgap[i] + found.tau * u)
        logs = [
            nbinom.pmf(returned[i], a, a / m / (a / m + expected[i]))
            for a, m in zip(found.shapes, found.means, strict=True)
        ]
        return holds * logs[0] + (1 - holds) * logs[1]

    total = 0.0
    for of in (0, 1):
        rows = np.flatnonzero(fault == of)
        total += np.log(
            quad(
                lambda u, rows=rows: (
                    norm.pdf(u) * np.prod([chance(i, u) for i in rows])
                ),
                -9,
                9,
            )[0]
        )
    ours, _ = evidence(returned, expected, stopgap=stopgap, fault=fault).log_density(
        SOME, DIFFERENT
    )
    away = (SOME - DIFFERENT.mean) / DIFFERENT.sd
    # Ours leaves out what no figure changes.
    left_out = (xlogy(returned, expected) - gammaln(returned + 1.0)).sum()
    left_out -= xlogy(returned, expected).sum()
    assert ours + 0.5 * away @ away + left_out == pytest.approx(total, abs=1e-4)


def test_fix_effect_weights_equal_plain_sums_over_all_effects():
    """Three pairs of one fix and one of another, each of a fault of its own.

    No two pairs are tied by more than one path, so a single round is exact.
    """
    returned, expected = np.array([4, 0, 3, 1]), np.array([0.8, 2.0, 0.5, 0.2])
    stopgap, fix = np.array([False, True, False, False]), np.array([5, 5, 5, 2])
    seen = evidence(returned, expected, stopgap=stopgap, fix=fix)
    found = HyperParameters.of(SOME)

    def chance(i, effect):
        holds = [
            expit(found.alpha - found.beta * stopgap[i] + found.tau * u + effect)
            for u in NODES
        ]
        holds = np.exp(LOG_WEIGHTS) @ holds
        one, two = (
            nbinom.pmf(returned[i], a, a / m / (a / m + expected[i]))
            for a, m in zip(found.shapes, found.means, strict=True)
        )
        return holds * one + (1 - holds) * two

    seen_so = np.array([[chance(i, v) for v in EFFECTS] for i in range(4)])
    prior = np.array([norm.pdf(EFFECTS, scale=s) for s in FIX_SDS])
    prior /= prior.sum(axis=1, keepdims=True)
    by_fix = [seen_so[fix == 5].prod(axis=0), seen_so[3]]
    of_spread = np.exp(LOG_FIX_SD_PRIOR) * np.prod(
        [prior @ each for each in by_fix], axis=0
    )
    of_spread /= of_spread.sum()
    others = prior * seen_so[1] * seen_so[2]  # of the first pair
    weights = of_spread @ (others / others.sum(axis=1, keepdims=True))
    hinted = seen.with_fix_effects(SOME)
    assert hinted.fix_sd == pytest.approx(of_spread @ FIX_SDS)
    assert hinted.effect_weights[0] == pytest.approx(weights)
    assert hinted.effect_weights[3] == pytest.approx(of_spread @ prior)
    # And with it the first pair's own chance to be one that holds.
    holds = expit(found.alpha + np.add.outer(found.tau * NODES, EFFECTS)) @ weights
    holds = np.exp(LOG_WEIGHTS) @ holds
    one, two = (
        nbinom.pmf(4, a, a / m / (a / m + 0.8))
        for a, m in zip(found.shapes, found.means, strict=True)
    )
    share = hinted.log_density(SOME, DIFFERENT)[1][0]
    assert share == pytest.approx(holds * one / (holds * one + (1 - holds) * two))


def test_adding_fix_effects_leaves_the_counts_unchanged():
    seen, *_ = shop(60, fix=1.0)
    before = seen.log_density(SOME, DIFFERENT)[0]
    after = seen.with_fix_effects(SOME).log_density(SOME, DIFFERENT)[0]
    assert seen.log_density(SOME, DIFFERENT)[0] == before != after


def test_the_parameters_of_a_large_shop_are_recovered():
    seen, comes_back, _ = shop(4000)
    found = HyperParameters.of(fit_parameters(seen, DIFFERENT))
    assert found.means == pytest.approx((0.3, 3.0), rel=0.1)
    # 0.8 hold; of the declared lasting 0.8·0.9 / (0.8·0.9 + 0.2·0.4) do.
    assert found.reliable_share(is_stopgap=False) == pytest.approx(0.9, abs=0.03)
    assert found.reliable_share(is_stopgap=True) == pytest.approx(0.4, abs=0.05)


def test_misleading_recorded_types_get_a_negative_beta():
    seen, *_ = shop(2000, sense=(0.3, 0.1))
    found = HyperParameters.of(fit_parameters(seen, DIFFERENT))
    assert found.beta < 0
    lasting, stopgap = (found.reliable_share(is_stopgap=s) for s in (False, True))
    assert lasting < stopgap


def test_tau_is_large_only_where_faults_differ():
    apart, _, _ = shop(2000, fault=2.0)
    alike, _, _ = shop(2000, fault=0.0)
    assert HyperParameters.of(fit_parameters(apart, DIFFERENT)).tau > 1.2
    assert HyperParameters.of(fit_parameters(alike, DIFFERENT)).tau < 0.5


def test_comebacks_of_other_fixes_raise_the_risk_of_a_new_fix():
    seen, *_ = shop(800, fault=2.0)
    n = seen.pairs
    both = evidence(
        np.r_[seen.comebacks, 9, 8, 0, 0, 0, 0],
        np.r_[seen.expected, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fault=np.r_[np.arange(n) // 4, 9000, 9000, 9001, 9001, 9000, 9001],
    )
    _, known = bayesian_model_average(both)
    among_bad, among_good = known.risk(0.08)[-2:]
    assert among_bad > 1.5 * among_good


def test_the_fix_effect_is_large_only_where_fixes_differ():
    apart, _ = bayesian_model_average(shop(2000, fix=2.0)[0])
    alike, _ = bayesian_model_average(shop(2000, fix=1e-9)[0])
    alone, _ = bayesian_model_average(shop(2000, fix=0.0)[0])
    assert apart.fix_sd > 1.2
    assert alike.fix_sd < 0.4
    assert alone.fix_sd == 0.0


def test_comebacks_on_other_faults_raise_the_risk_of_a_fix():
    seen, *_ = shop(800, fix=2.0)
    rng = np.random.default_rng(5)
    order, n = np.argsort(rng.random(800)), 800
    both = evidence(
        np.r_[seen.comebacks[order], 9, 8, 7, 0, 0, 0, 0, 0],
        np.r_[seen.expected[order], 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fix=np.r_[seen.fix[order], 900, 900, 900, 901, 901, 901, 900, 901],
    )
    _, known = bayesian_model_average(both)
    elsewhere_bad, elsewhere_good = known.risk(0.08)[-2:]
    assert both.pairs == n + 8
    assert elsewhere_bad > 1.5 * elsewhere_good


def test_homogeneous_groups_are_recognized():
    found, _ = bayesian_model_average(shop(600, a=(500.0, 500.0))[0])
    assert min(found.shapes) > 20
    found, _ = bayesian_model_average(shop(600, a=(1.0, 4.0))[0])
    assert found.shapes[0] < 5


@pytest.mark.parametrize("n", [40, 300])
def test_ranges_contain_the_truth_in_90_percent_of_cases(n):
    inside = []
    for seed in range(5 if n == 300 else 20):
        seen, _, ratio = shop(n, seed=seed)
        _, known = bayesian_model_average(seen)
        inside += list(
            (known.quantile(0.05) <= ratio) & (ratio <= known.quantile(0.95))
        )
    assert 0.85 < np.mean(inside) < 0.95


def test_the_order_of_the_pairs_does_not_matter():
    rng = np.random.default_rng(1)
    returned, expected = rng.poisson(1.0, 50), rng.gamma(2.0, 1.0, 50)
    fault, stopgap = rng.integers(0, 9, 50), rng.random(50) < 0.3
    order, fix = rng.permutation(50), rng.integers(0, 12, 50)
    one, other = (
        bayesian_model_average(
            evidence(
                returned[o],
                expected[o],
                stopgap=stopgap[o],
                fault=fault[o],
                fix=fix[o],
            )
        )
        for o in (np.arange(50), order)
    )
    assert other[1].risk(0.1) == pytest.approx(one[1].risk(0.1)[order], rel=1e-3)


def test_the_same_data_give_the_same_digits():
    first, second = (bayesian_model_average(shop(100)[0])[1] for _ in range(2))
    assert np.array_equal(first.shapes, second.shapes)
    assert np.array_equal(first.weights, second.weights)


@pytest.mark.parametrize("fix", [0.0, 1.5])
def test_a_fit_started_from_a_sample_equals_the_fit_from_all_pairs(monkeypatch, fix):
    seen, *_ = shop(2000, fix=fix)
    _, by_part = bayesian_model_average(seen)
    monkeypatch.setattr("repairs.comebacks.estimate.averaging.LARGE", 10**9)
    monkeypatch.setattr(
        "repairs.comebacks.estimate.averaging.PAIRS_TIMES_POINTS", 10**9
    )
    _, by_all = bayesian_model_average(seen)
    apart = np.abs(by_part.risk(0.08) - by_all.risk(0.08))
    assert apart.mean() < 0.001
    assert apart.max() < 0.01


@pytest.mark.parametrize("pairs", [1, 2, 19])
@pytest.mark.parametrize("returned", [0, 1, 40])
@pytest.mark.parametrize("expected", [0.0, 1e-9, 2.0])
@pytest.mark.parametrize("stopgap", [True, False])
def test_no_estimate_is_ever_missing(pairs, returned, expected, stopgap):
    seen = evidence(
        [returned] * pairs,
        [expected] * pairs,
        stopgap=[stopgap] * pairs,
        fault=[0] * pairs,
        fix=np.arange(pairs) // 2,
    )
    _, known = bayesian_model_average(seen)
    for figures in (
        known.shapes,
        known.rates,
        known.weights,
        known.risk_quantile(0.95, 1.0),
    ):
        assert np.isfinite(figures).all()
    assert known.weights.sum(axis=1) == pytest.approx(1.0)
    assert (known.risk_quantile(0.05, 1.0) <= known.risk_quantile(0.95, 1.0)).all()


def test_pairs_with_very_much_data_raise_no_warning():
    rng = np.random.default_rng(4)
    ratio = np.where(rng.random(500) < 0.2, 3.0, 0.4)
    expected = rng.gamma(9.0, 20.0, 500)
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        _, known = bayesian_model_average(
            evidence(rng.poisson(ratio * expected), expected)
        )
    assert known.weights.min() >= 0.0
    found = (known.weights * known.shapes / known.rates).sum(axis=1)
    assert found == pytest.approx(ratio, rel=0.4)


def test_the_points_are_those_of_a_student_t():
    points = student_t_nodes(20_000, dimensions=7)
    assert points.mean(axis=0) == pytest.approx(0.0, abs=1e-12)  # mirrored
    # The variance of a t with 8 degrees of freedom.
    assert points.var(axis=0) == pytest.approx(8 / 6, rel=0.05)
    off = np.corrcoef(points[:10_000].T) - np.eye(7)
    assert np.abs(off).max() < 0.05


def test_the_weights_of_the_hyperpriors_add_up_to_one():
    assert sum(beliefs.weight for beliefs in HYPERPRIORS) == pytest.approx(1.0)
    assert ALIKE.mean[0] > DIFFERENT.mean[0]
