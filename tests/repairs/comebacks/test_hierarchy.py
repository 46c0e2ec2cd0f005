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


def pair_counts(comebacks, expected, *, is_stopgap=None, fault=None, fix=None):
    n = len(comebacks)
    return PairCounts(
        comebacks=np.asarray(comebacks, dtype=np.int64),
        expected=np.asarray(expected, dtype=np.float64),
        is_stopgap=np.zeros(n, dtype=bool)
        if is_stopgap is None
        else np.array(is_stopgap),
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
    is_stopgap = rng.random(n) < np.where(comes_back, sense[1], sense[0])
    comebacks = rng.poisson(ratio * expected)
    counts = pair_counts(
        comebacks, expected, is_stopgap=is_stopgap, fault=fault, fix=fix
    )
    return counts, comes_back, ratio


def test_the_slope_is_that_of_the_loss():
    plain, *_ = shop(60, fault=1.0, fix=1.0)
    for counts, hyperprior in product(
        [plain, plain.with_fix_effects(SOME)], HYPERPRIORS
    ):
        x = SOME + 0.1
        steps = [
            (counts.loss(x + e, hyperprior)[0] - counts.loss(x - e, hyperprior)[0])
            / 2e-5
            for e in 1e-5 * np.eye(7)
        ]
        assert counts.loss(x, hyperprior)[1] == pytest.approx(steps, rel=1e-5, abs=1e-5)


def test_the_likelihood_equals_scipy_with_numeric_integration():
    comebacks = np.array([0, 2, 5, 1, 0])
    expected = np.array([0.3, 1.0, 1.5, 2.0, 0.1])
    is_stopgap = np.array([False, True, True, False, False])
    fault = np.array([0, 0, 1, 1, 1])
    parameters = HyperParameters.of(SOME)

    def probability(i, u):
        holds = expit(
            parameters.alpha - parameters.beta * is_stopgap[i] + parameters.tau * u
        )
        logs = [
            nbinom.pmf(comebacks[i], a, a / m / (a / m + expected[i]))
            for a, m in zip(parameters.shapes, parameters.means, strict=True)
        ]
        return holds * logs[0] + (1 - holds) * logs[1]

    total = 0.0
    for of in (0, 1):
        rows = np.flatnonzero(fault == of)
        total += np.log(
            quad(
                lambda u, rows=rows: (
                    norm.pdf(u) * np.prod([probability(i, u) for i in rows])
                ),
                -9,
                9,
            )[0]
        )
    density, _ = pair_counts(
        comebacks, expected, is_stopgap=is_stopgap, fault=fault
    ).log_density(SOME, DIFFERENT)
    away = (SOME - DIFFERENT.mean) / DIFFERENT.sd
    # Ours leaves out what no figure changes.
    left_out = (xlogy(comebacks, expected) - gammaln(comebacks + 1.0)).sum()
    left_out -= xlogy(comebacks, expected).sum()
    assert density + 0.5 * away @ away + left_out == pytest.approx(total, abs=1e-4)


def test_fix_effect_weights_equal_plain_sums_over_all_effects():
    """Three pairs of one fix and one of another, each of a fault of its own.

    No two pairs are tied by more than one path, so a single round is exact.
    """
    comebacks, expected = np.array([4, 0, 3, 1]), np.array([0.8, 2.0, 0.5, 0.2])
    is_stopgap, fix = np.array([False, True, False, False]), np.array([5, 5, 5, 2])
    counts = pair_counts(comebacks, expected, is_stopgap=is_stopgap, fix=fix)
    parameters = HyperParameters.of(SOME)

    def probability(i, effect):
        holds = [
            expit(
                parameters.alpha
                - parameters.beta * is_stopgap[i]
                + parameters.tau * u
                + effect
            )
            for u in NODES
        ]
        holds = np.exp(LOG_WEIGHTS) @ holds
        one, two = (
            nbinom.pmf(comebacks[i], a, a / m / (a / m + expected[i]))
            for a, m in zip(parameters.shapes, parameters.means, strict=True)
        )
        return holds * one + (1 - holds) * two

    seen_so = np.array([[probability(i, v) for v in EFFECTS] for i in range(4)])
    prior = np.array([norm.pdf(EFFECTS, scale=s) for s in FIX_SDS])
    prior /= prior.sum(axis=1, keepdims=True)
    by_fix = [seen_so[fix == 5].prod(axis=0), seen_so[3]]
    of_spread = np.exp(LOG_FIX_SD_PRIOR) * np.prod(
        [prior @ each for each in by_fix], axis=0
    )
    of_spread /= of_spread.sum()
    others = prior * seen_so[1] * seen_so[2]  # of the first pair
    weights = of_spread @ (others / others.sum(axis=1, keepdims=True))
    hinted = counts.with_fix_effects(SOME)
    assert hinted.fix_sd == pytest.approx(of_spread @ FIX_SDS)
    assert hinted.effect_weights[0] == pytest.approx(weights)
    assert hinted.effect_weights[3] == pytest.approx(of_spread @ prior)
    # And with it the first pair's own chance to be one that holds.
    holds = (
        expit(parameters.alpha + np.add.outer(parameters.tau * NODES, EFFECTS))
        @ weights
    )
    holds = np.exp(LOG_WEIGHTS) @ holds
    one, two = (
        nbinom.pmf(4, a, a / m / (a / m + 0.8))
        for a, m in zip(parameters.shapes, parameters.means, strict=True)
    )
    share = hinted.log_density(SOME, DIFFERENT)[1][0]
    assert share == pytest.approx(holds * one / (holds * one + (1 - holds) * two))


def test_adding_fix_effects_leaves_the_counts_unchanged():
    counts, *_ = shop(60, fix=1.0)
    before = counts.log_density(SOME, DIFFERENT)[0]
    after = counts.with_fix_effects(SOME).log_density(SOME, DIFFERENT)[0]
    assert counts.log_density(SOME, DIFFERENT)[0] == before != after


def test_the_parameters_of_a_large_shop_are_recovered():
    counts, comes_back, _ = shop(4000)
    parameters = HyperParameters.of(fit_parameters(counts, DIFFERENT))
    assert parameters.means == pytest.approx((0.3, 3.0), rel=0.1)
    # 0.8 hold; of the declared lasting 0.8·0.9 / (0.8·0.9 + 0.2·0.4) do.
    assert parameters.reliable_share(is_stopgap=False) == pytest.approx(0.9, abs=0.03)
    assert parameters.reliable_share(is_stopgap=True) == pytest.approx(0.4, abs=0.05)


def test_misleading_recorded_types_get_a_negative_beta():
    counts, *_ = shop(2000, sense=(0.3, 0.1))
    parameters = HyperParameters.of(fit_parameters(counts, DIFFERENT))
    assert parameters.beta < 0
    lasting, stopgap = (parameters.reliable_share(is_stopgap=s) for s in (False, True))
    assert lasting < stopgap


def test_tau_is_large_only_where_faults_differ():
    different, _, _ = shop(2000, fault=2.0)
    alike, _, _ = shop(2000, fault=0.0)
    assert HyperParameters.of(fit_parameters(different, DIFFERENT)).tau > 1.2
    assert HyperParameters.of(fit_parameters(alike, DIFFERENT)).tau < 0.5


def test_comebacks_of_other_fixes_raise_the_risk_of_a_new_fix():
    counts, *_ = shop(800, fault=2.0)
    n = counts.pairs
    both = pair_counts(
        np.r_[counts.comebacks, 9, 8, 0, 0, 0, 0],
        np.r_[counts.expected, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fault=np.r_[np.arange(n) // 4, 9000, 9000, 9001, 9001, 9000, 9001],
    )
    _, pooled = bayesian_model_average(both)
    among_bad, among_good = pooled.risk(0.08)[-2:]
    assert among_bad > 1.5 * among_good


def test_the_fix_effect_is_large_only_where_fixes_differ():
    different, _ = bayesian_model_average(shop(2000, fix=2.0)[0])
    alike, _ = bayesian_model_average(shop(2000, fix=1e-9)[0])
    alone, _ = bayesian_model_average(shop(2000, fix=0.0)[0])
    assert different.fix_sd > 1.2
    assert alike.fix_sd < 0.4
    assert alone.fix_sd == 0.0


def test_comebacks_on_other_faults_raise_the_risk_of_a_fix():
    counts, *_ = shop(800, fix=2.0)
    rng = np.random.default_rng(5)
    order, n = np.argsort(rng.random(800)), 800
    both = pair_counts(
        np.r_[counts.comebacks[order], 9, 8, 7, 0, 0, 0, 0, 0],
        np.r_[counts.expected[order], 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fix=np.r_[counts.fix[order], 900, 900, 900, 901, 901, 901, 900, 901],
    )
    _, pooled = bayesian_model_average(both)
    elsewhere_bad, elsewhere_good = pooled.risk(0.08)[-2:]
    assert both.pairs == n + 8
    assert elsewhere_bad > 1.5 * elsewhere_good


def test_homogeneous_groups_are_recognized():
    parameters, _ = bayesian_model_average(shop(600, a=(500.0, 500.0))[0])
    assert min(parameters.shapes) > 20
    parameters, _ = bayesian_model_average(shop(600, a=(1.0, 4.0))[0])
    assert parameters.shapes[0] < 5


@pytest.mark.parametrize("n", [40, 300])
def test_ranges_contain_the_truth_in_90_percent_of_cases(n):
    inside = []
    for seed in range(5 if n == 300 else 20):
        counts, _, ratio = shop(n, seed=seed)
        _, pooled = bayesian_model_average(counts)
        inside += list(
            (pooled.quantile(0.05) <= ratio) & (ratio <= pooled.quantile(0.95))
        )
    assert 0.85 < np.mean(inside) < 0.95


def test_the_order_of_the_pairs_does_not_matter():
    rng = np.random.default_rng(1)
    comebacks, expected = rng.poisson(1.0, 50), rng.gamma(2.0, 1.0, 50)
    fault, is_stopgap = rng.integers(0, 9, 50), rng.random(50) < 0.3
    order, fix = rng.permutation(50), rng.integers(0, 12, 50)
    one, other = (
        bayesian_model_average(
            pair_counts(
                comebacks[o],
                expected[o],
                is_stopgap=is_stopgap[o],
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
    counts, *_ = shop(2000, fix=fix)
    _, by_part = bayesian_model_average(counts)
    monkeypatch.setattr("repairs.comebacks.estimate.averaging.LARGE", 10**9)
    monkeypatch.setattr(
        "repairs.comebacks.estimate.averaging.PAIRS_TIMES_POINTS", 10**9
    )
    _, by_all = bayesian_model_average(counts)
    different = np.abs(by_part.risk(0.08) - by_all.risk(0.08))
    assert different.mean() < 0.001
    assert different.max() < 0.01


@pytest.mark.parametrize("pairs", [1, 2, 19])
@pytest.mark.parametrize("comebacks", [0, 1, 40])
@pytest.mark.parametrize("expected", [0.0, 1e-9, 2.0])
@pytest.mark.parametrize("is_stopgap", [True, False])
def test_no_estimate_is_ever_missing(pairs, comebacks, expected, is_stopgap):
    counts = pair_counts(
        [comebacks] * pairs,
        [expected] * pairs,
        is_stopgap=[is_stopgap] * pairs,
        fault=[0] * pairs,
        fix=np.arange(pairs) // 2,
    )
    _, pooled = bayesian_model_average(counts)
    for figures in (
        pooled.shapes,
        pooled.rates,
        pooled.weights,
        pooled.risk_quantile(0.95, 1.0),
    ):
        assert np.isfinite(figures).all()
    assert pooled.weights.sum(axis=1) == pytest.approx(1.0)
    assert (pooled.risk_quantile(0.05, 1.0) <= pooled.risk_quantile(0.95, 1.0)).all()


def test_pairs_with_very_much_data_raise_no_warning():
    rng = np.random.default_rng(4)
    ratio = np.where(rng.random(500) < 0.2, 3.0, 0.4)
    expected = rng.gamma(9.0, 20.0, 500)
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        _, pooled = bayesian_model_average(
            pair_counts(rng.poisson(ratio * expected), expected)
        )
    assert pooled.weights.min() >= 0.0
    parameters = (pooled.weights * pooled.shapes / pooled.rates).sum(axis=1)
    assert parameters == pytest.approx(ratio, rel=0.4)


def test_the_points_are_those_of_a_student_t():
    points = student_t_nodes(20_000, dimensions=7)
    assert points.mean(axis=0) == pytest.approx(0.0, abs=1e-12)  # mirrored
    # The variance of a t with 8 degrees of freedom.
    assert points.var(axis=0) == pytest.approx(8 / 6, rel=0.05)
    off = np.corrcoef(points[:10_000].T) - np.eye(7)
    assert np.abs(off).max() < 0.05


def test_the_weights_of_the_hyperpriors_add_up_to_one():
    assert sum(hyperprior.weight for hyperprior in HYPERPRIORS) == pytest.approx(1.0)
    assert ALIKE.mean[0] > DIFFERENT.mean[0]
