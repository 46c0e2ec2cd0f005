"""The study in small: the same shops, a few of each, and bounds wide enough for few.

The whole of it, with its figures: `python -m tests.benchmarks.study`.
"""

from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.bounds import errors_with_families, ratio, risk_of_two_points
from tests.benchmarks.oracle import GRID, share_of_stopgaps
from tests.benchmarks.shops import BY_NAME, SCENARIOS, WITHIN, shop
from tests.benchmarks.study import ORACLE, OURS, PLAIN, Result, judged, study, targets

INFORMING = (
    "two clear groups",
    "young shop, 180 days",
    "faults differ",
    "fixes differ",
)
NOT_INFORMING = ("declarations say nothing", "declarations mislead")
SHOPS = 5


def made(name: str, seed: int = 3):
    return shop(BY_NAME[name], np.random.default_rng(seed))


@pytest.fixture(scope="module")
def results():
    names = (*INFORMING, *NOT_INFORMING)
    return {result.scenario.name: result for result in study(SHOPS, only=names)}


@pytest.mark.parametrize("name", INFORMING)
def test_where_declarations_inform_ours_is_nearer_the_truth_than_the_plain_recipe(
    results, name
):
    assert results[name].to(PLAIN).value < 0.97


def test_over_all_of_them_it_is_nearer_by_a_good_deal(results):
    errors = {
        method: sum(results[name].error(method).value for name in INFORMING)
        for method in (OURS, PLAIN)
    }
    assert errors[OURS] < 0.92 * errors[PLAIN]


@pytest.mark.parametrize("name", NOT_INFORMING)
def test_where_they_do_not_it_loses_next_to_nothing(results, name):
    assert results[name].to(PLAIN).value < 1.03


def test_nobody_beats_the_oracle_by_more_than_luck(results):
    for result in results.values():
        for method in (OURS, PLAIN):
            assert result.error(method).value > 0.97 * result.error(ORACLE).value


def test_our_90_percent_ranges_contain_the_true_risk_in_about_9_of_10_shops(results):
    inside = [r.covered(OURS).value for r in results.values()]
    assert 0.85 < np.mean(inside) < 0.96


def test_hardly_a_sound_fix_is_accused(results):
    assert np.mean([r.falsely(OURS).value for r in results.values()]) < 0.005
    assert np.mean([r.power(OURS).value for r in results.values()]) > 0.3


def test_the_targets_are_judged_by_their_figures(results):
    aims = targets(list(results.values()))
    assert len(aims) == 6
    by_plain = aims[1]
    assert set(by_plain.figures) == set(INFORMING)
    far = [n for n, f in by_plain.figures.items() if f.value > 0.92]
    assert len(by_plain.missed) == len(far)
    assert ("met in all" in str(by_plain)) == (not far)


# --- the shops themselves -----------------------------------------------------


def test_the_same_seed_makes_the_same_shop_and_the_same_figures():
    assert np.array_equal(made("60 pairs").t, made("60 pairs").t)
    assert judged(made("12 pairs")) == judged(made("12 pairs"))


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda s: s.name)
def test_a_shop_holds_what_its_scenario_says(scenario):
    many = [shop(scenario, np.random.default_rng(n)) for n in range(30)]
    for one in many:
        assert len(one.truth) == scenario.pairs
        assert one.t.min() >= 0 and one.t.max() <= WITHIN
        assert set(np.unique(one.d)) <= {0, 1}
        assert len(one.pair) == one.repairs.sum()
        assert len({*zip(one.fault, one.fix, strict=True)}) == scenario.pairs
    bad = np.mean([one.is_stopgap.mean() for one in many])
    is_even = not scenario.fault_spread and not scenario.fix_spread
    if scenario.truths != "hump" and is_even:
        assert bad == pytest.approx(scenario.stopgaps, abs=0.05)
    is_bad = np.concatenate([one.is_stopgap for one in many])
    said = np.concatenate([one.is_declared_stopgap for one in many])
    assert said[is_bad].mean() == pytest.approx(scenario.said_of_stopgaps, abs=0.08)
    assert said[~is_bad].mean() == pytest.approx(scenario.said_of_others, abs=0.04)


@pytest.mark.parametrize("name", ["spread groups", "30 % went elsewhere"])
def test_as_many_come_back_as_the_truth_says(name):
    came, meant = 0.0, 0.0
    for seed in range(6):
        one = made(name, seed)
        is_old = (one.t == WITHIN) | (one.d == 1)
        full = np.bincount(one.pair, weights=is_old, minlength=len(one.truth))
        back = np.bincount(one.pair, weights=one.d, minlength=len(one.truth))
        # Judged repairs are a little too often the ones that came back early.
        came, meant = came + back.sum(), meant + (full * one.truth).sum()
    assert came == pytest.approx(meant, rel=0.1)


def test_what_went_elsewhere_is_seen_by_nobody():
    scenario = BY_NAME["30 % went elsewhere"]
    assert scenario.target(0.4) == pytest.approx(0.28)
    assert scenario.seen(0.4) == pytest.approx(0.28)


def test_wrong_decisions_hide_some_comebacks_and_add_others():
    scenario = BY_NAME["10 % of decisions wrong"]
    assert scenario.target(0.4) == 0.4
    assert scenario.seen(0.4) == pytest.approx(1 - 0.64 * 0.997)
    assert scenario.seen(0.0) == pytest.approx(0.003)


def test_the_oracle_knows_the_two_truths_of_two_clear_groups():
    assert {0.02, 0.35} <= set(GRID)
    result = Result(BY_NAME["two clear groups"], [judged(made("two clear groups"))])
    assert result.covered(ORACLE).value > 0.95
    assert result.error(ORACLE).value < result.error(PLAIN).value


# --- oracles and bounds that draw ---------------------------------------------


def test_drawing_finds_the_shares_that_summing_finds_where_only_faults_differ():
    """With fixes that hardly differ the draws must come to the sums by quadrature."""
    one = made("faults differ")
    rng = np.random.default_rng(8)
    holds, stopgap = rng.normal(size=(2, len(one.truth)))
    summed = share_of_stopgaps(one, holds, stopgap)
    nearly = replace(one, scenario=replace(one.scenario, fix_spread=1e-6))
    drawn = share_of_stopgaps(nearly, holds, stopgap)
    assert np.abs(drawn - summed).mean() < 0.01
    assert np.abs(drawn - summed).max() < 0.06


def test_who_knows_of_two_chances_but_not_which_comes_between_us_and_the_oracle():
    sums = {method: 0.0 for method in (OURS, ORACLE, "two")}
    for seed in range(4):
        one = made("two clear groups", seed)
        found = judged(one)
        for method in (OURS, ORACLE):
            sums[method] += found[method]["error"]
        sums["two"] += np.abs(risk_of_two_points(one) - one.truth).sum()
    assert sums[ORACLE] < sums["two"] < 1.02 * sums[OURS]


def test_families_that_do_not_differ_need_not_be_told():
    untold, told = errors_with_families(0.0, np.random.default_rng(1))
    assert told == pytest.approx(untold, rel=1e-9)


def test_a_ratio_and_its_error_are_those_of_the_shops():
    found = ratio([2.0, 4.0, 6.0], [1.0, 2.0, 3.0])
    assert (found.value, found.error) == pytest.approx((2.0, 0.0))
    by_hand = [(4.0 + 6.0) / 2.0, (2.0 + 6.0) / 2.0, (2.0 + 4.0) / 2.0]
    error = np.sqrt(2 / 3 * ((by_hand - np.mean(by_hand)) ** 2).sum())
    assert ratio([2.0, 4.0, 6.0], np.ones(3)).error == pytest.approx(error)
