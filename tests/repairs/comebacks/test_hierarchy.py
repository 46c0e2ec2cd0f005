"""The prior by declared kind, fault and fix: its likelihood, its fit, what follows."""

from itertools import product

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit, gammaln, xlogy
from scipy.stats import nbinom, norm

from repairs.comebacks.averaged import averaged, student_points
from repairs.comebacks.beliefs import (
    ALIKE,
    DIFFERING,
    LOG_WEIGHTS,
    NODES,
    SETS,
    Figures,
)
from repairs.comebacks.elsewhere import EFFECTS, LOG_BELIEF, SPREADS
from repairs.comebacks.hierarchy import Evidence, fitted

SOME = np.array([0.4, -0.9, 0.8, 2.1, 1.4, 1.1, -0.6])


def evidence(returned, expected, *, stopgap=None, fault=None, fix=None):
    n = len(returned)
    return Evidence(
        returned=np.asarray(returned, dtype=np.int64),
        expected=np.asarray(expected, dtype=np.float64),
        is_stopgap=np.zeros(n, dtype=bool) if stopgap is None else np.array(stopgap),
        fault=np.arange(n) if fault is None else np.asarray(fault),
        fix=np.arange(n) if fix is None else np.asarray(fix),
    )


def shop(n=400, *, seed=2, sense=(0.1, 0.6), fault=0.0, fix=0.0, a=(2.0, 6.0)):
    """Pairs with a truth; `sense` is how often holding and other fixes are declared
    stopgaps, `fault` and `fix` by how much such differ. Ratios are 0.3 and 3 in the
    mean, a fifth comes back."""
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
    for seen, beliefs in product([plain, plain.hinted_by_fixes(SOME)], SETS):
        x = SOME + 0.1
        steps = [
            (seen.loss(x + e, beliefs)[0] - seen.loss(x - e, beliefs)[0]) / 2e-5
            for e in 1e-5 * np.eye(7)
        ]
        assert seen.loss(x, beliefs)[1] == pytest.approx(steps, rel=1e-5, abs=1e-5)


def test_the_likelihood_is_that_of_a_library_with_the_faults_summed_out_by_integral():
    returned = np.array([0, 2, 5, 1, 0])
    expected = np.array([0.3, 1.0, 1.5, 2.0, 0.1])
    stopgap = np.array([False, True, True, False, False])
    fault = np.array([0, 0, 1, 1, 1])
    found = Figures.of(SOME)

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
        SOME, DIFFERING
    )
    away = (SOME - DIFFERING.middle) / DIFFERING.spread
    # Ours leaves out what no figure changes.
    left_out = (xlogy(returned, expected) - gammaln(returned + 1.0)).sum()
    left_out -= xlogy(returned, expected).sum()
    assert ours + 0.5 * away @ away + left_out == pytest.approx(total, abs=1e-4)


def test_hints_are_those_of_plain_sums_over_all_that_a_fix_may_do():
    """Three pairs of one fix and one of another, each of a fault of its own: nothing
    is tied twice, so a single round has to be exact."""
    returned, expected = np.array([4, 0, 3, 1]), np.array([0.8, 2.0, 0.5, 0.2])
    stopgap, fix = np.array([False, True, False, False]), np.array([5, 5, 5, 2])
    seen = evidence(returned, expected, stopgap=stopgap, fix=fix)
    found = Figures.of(SOME)

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
    prior = np.array([norm.pdf(EFFECTS, scale=s) for s in SPREADS])
    prior /= prior.sum(axis=1, keepdims=True)
    by_fix = [seen_so[fix == 5].prod(axis=0), seen_so[3]]
    of_spread = np.exp(LOG_BELIEF) * np.prod([prior @ each for each in by_fix], axis=0)
    of_spread /= of_spread.sum()
    others = prior * seen_so[1] * seen_so[2]  # of the first pair
    weights = of_spread @ (others / others.sum(axis=1, keepdims=True))
    hinted = seen.hinted_by_fixes(SOME)
    assert hinted.between_fixes == pytest.approx(of_spread @ SPREADS)
    assert hinted.hinted[0] == pytest.approx(weights)
    assert hinted.hinted[3] == pytest.approx(of_spread @ prior)
    # And with it the first pair's own chance to be one that holds.
    holds = expit(found.alpha + np.add.outer(found.tau * NODES, EFFECTS)) @ weights
    holds = np.exp(LOG_WEIGHTS) @ holds
    one, two = (
        nbinom.pmf(4, a, a / m / (a / m + 0.8))
        for a, m in zip(found.shapes, found.means, strict=True)
    )
    share = hinted.log_density(SOME, DIFFERING)[1][0]
    assert share == pytest.approx(holds * one / (holds * one + (1 - holds) * two))


def test_evidence_that_is_asked_for_hints_stays_as_it_was():
    seen, *_ = shop(60, fix=1.0)
    before = seen.log_density(SOME, DIFFERING)[0]
    after = seen.hinted_by_fixes(SOME).log_density(SOME, DIFFERING)[0]
    assert seen.log_density(SOME, DIFFERING)[0] == before != after


def test_the_figures_of_a_big_shop_are_found():
    seen, comes_back, _ = shop(4000)
    found = Figures.of(fitted(seen, DIFFERING))
    assert found.means == pytest.approx((0.3, 3.0), rel=0.1)
    # 0.8 hold; of the declared lasting 0.8·0.9 / (0.8·0.9 + 0.2·0.4) do.
    assert found.share_that_holds(is_stopgap=False) == pytest.approx(0.9, abs=0.03)
    assert found.share_that_holds(is_stopgap=True) == pytest.approx(0.4, abs=0.05)


def test_a_bench_whose_word_misleads_is_found_out():
    seen, *_ = shop(2000, sense=(0.3, 0.1))
    found = Figures.of(fitted(seen, DIFFERING))
    assert found.beta < 0
    lasting, stopgap = (found.share_that_holds(is_stopgap=s) for s in (False, True))
    assert lasting < stopgap


def test_faults_that_differ_are_seen_to_and_those_that_do_not_are_not():
    apart, _, _ = shop(2000, fault=2.0)
    alike, _, _ = shop(2000, fault=0.0)
    assert Figures.of(fitted(apart, DIFFERING)).tau > 1.2
    assert Figures.of(fitted(alike, DIFFERING)).tau < 0.5


def test_a_new_fix_of_a_fault_whose_others_come_back_is_riskier():
    seen, *_ = shop(800, fault=2.0)
    n = seen.pairs
    both = evidence(
        np.r_[seen.returned, 9, 8, 0, 0, 0, 0],
        np.r_[seen.expected, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fault=np.r_[np.arange(n) // 4, 9000, 9000, 9001, 9001, 9000, 9001],
    )
    _, known = averaged(both)
    among_bad, among_good = known.chance(0.08)[-2:]
    assert among_bad > 1.5 * among_good


def test_fixes_that_differ_are_seen_to_and_those_that_do_not_are_not():
    apart, _ = averaged(shop(2000, fix=2.0)[0])
    alike, _ = averaged(shop(2000, fix=1e-9)[0])
    alone, _ = averaged(shop(2000, fix=0.0)[0])
    assert apart.between_fixes > 1.2
    assert alike.between_fixes < 0.4
    assert alone.between_fixes == 0.0


def test_a_fix_that_comes_back_on_other_faults_is_riskier_on_a_new_one():
    seen, *_ = shop(800, fix=2.0)
    rng = np.random.default_rng(5)
    order, n = np.argsort(rng.random(800)), 800
    both = evidence(
        np.r_[seen.returned[order], 9, 8, 7, 0, 0, 0, 0, 0],
        np.r_[seen.expected[order], 3.0, 3.0, 3.0, 3.0, 3.0, 3.0, 0.01, 0.01],
        fix=np.r_[seen.fix[order], 900, 900, 900, 901, 901, 901, 900, 901],
    )
    _, known = averaged(both)
    elsewhere_bad, elsewhere_good = known.chance(0.08)[-2:]
    assert both.pairs == n + 8
    assert elsewhere_bad > 1.5 * elsewhere_good


def test_groups_that_are_alike_within_are_recognised():
    found, _ = averaged(shop(600, a=(500.0, 500.0))[0])
    assert min(found.shapes) > 20
    found, _ = averaged(shop(600, a=(1.0, 4.0))[0])
    assert found.shapes[0] < 5


@pytest.mark.parametrize("n", [40, 300])
def test_limits_hold_the_truth_nine_times_in_ten(n):
    inside = []
    for seed in range(5 if n == 300 else 20):
        seen, _, ratio = shop(n, seed=seed)
        _, known = averaged(seen)
        inside += list(
            (known.ratio_at(0.05) <= ratio) & (ratio <= known.ratio_at(0.95))
        )
    assert 0.85 < np.mean(inside) < 0.95


def test_the_order_of_the_pairs_does_not_matter():
    rng = np.random.default_rng(1)
    returned, expected = rng.poisson(1.0, 50), rng.gamma(2.0, 1.0, 50)
    fault, stopgap = rng.integers(0, 9, 50), rng.random(50) < 0.3
    order, fix = rng.permutation(50), rng.integers(0, 12, 50)
    one, other = (
        averaged(
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
    assert other[1].chance(0.1) == pytest.approx(one[1].chance(0.1)[order], rel=1e-3)


def test_the_same_data_give_the_same_digits():
    first, second = (averaged(shop(100)[0])[1] for _ in range(2))
    assert np.array_equal(first.shapes, second.shapes)
    assert np.array_equal(first.weights, second.weights)


@pytest.mark.parametrize("fix", [0.0, 1.5])
def test_a_big_shop_found_by_a_part_of_it_is_as_if_all_had_been_searched(
    monkeypatch, fix
):
    seen, *_ = shop(2000, fix=fix)
    _, by_part = averaged(seen)
    monkeypatch.setattr("repairs.comebacks.averaged.BIG", 10**9)
    monkeypatch.setattr("repairs.comebacks.averaged.PAIRS_TIMES_POINTS", 10**9)
    _, by_all = averaged(seen)
    apart = np.abs(by_part.chance(0.08) - by_all.chance(0.08))
    assert apart.mean() < 0.001
    assert apart.max() < 0.01


@pytest.mark.parametrize("pairs", [1, 2, 19])
@pytest.mark.parametrize("returned", [0, 1, 40])
@pytest.mark.parametrize("expected", [0.0, 1e-9, 2.0])
@pytest.mark.parametrize("stopgap", [True, False])
def test_nothing_is_ever_missing(pairs, returned, expected, stopgap):
    seen = evidence(
        [returned] * pairs,
        [expected] * pairs,
        stopgap=[stopgap] * pairs,
        fault=[0] * pairs,
        fix=np.arange(pairs) // 2,
    )
    _, known = averaged(seen)
    for figures in (
        known.shapes,
        known.rates,
        known.weights,
        known.chance_at(0.95, 1.0),
    ):
        assert np.isfinite(figures).all()
    assert known.weights.sum(axis=1) == pytest.approx(1.0)
    assert (known.chance_at(0.05, 1.0) <= known.chance_at(0.95, 1.0)).all()


def test_pairs_known_beyond_doubt_are_reckoned_without_a_warning():
    rng = np.random.default_rng(4)
    ratio = np.where(rng.random(500) < 0.2, 3.0, 0.4)
    expected = rng.gamma(9.0, 20.0, 500)
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        _, known = averaged(evidence(rng.poisson(ratio * expected), expected))
    assert known.weights.min() >= 0.0
    found = (known.weights * known.shapes / known.rates).sum(axis=1)
    assert found == pytest.approx(ratio, rel=0.4)


def test_the_points_are_those_of_a_student_t():
    points = student_points(20_000, of=7)
    assert points.mean(axis=0) == pytest.approx(0.0, abs=1e-12)  # mirrored
    # The variance of a t with 8 degrees of freedom.
    assert points.var(axis=0) == pytest.approx(8 / 6, rel=0.05)
    off = np.corrcoef(points[:10_000].T) - np.eye(7)
    assert np.abs(off).max() < 0.05


def test_two_sets_of_beliefs_are_all_of_it():
    assert sum(beliefs.weight for beliefs in SETS) == pytest.approx(1.0)
    assert ALIKE.middle[0] > DIFFERING.middle[0]
