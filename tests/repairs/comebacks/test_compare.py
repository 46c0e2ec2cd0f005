from decimal import Decimal

import numpy as np
import pytest

from repairs.comebacks.compare import (
    chance_first_is_better,
    chances_to_beat_best_other,
    cost_to_shop,
    each_against_each,
    log_rank,
)
from repairs.comebacks.posterior import Posterior, posterior
from repairs.comebacks.prior import Prior
from repairs.comebacks.watch import counted

TWO = Prior((4.0, 4.0), (16.0, 0.8), (0.8, 0.2))
PAIRS = posterior(TWO, returned=np.array([1, 4, 0]), expected=np.array([2.0, 1.0, 0.1]))


def test_the_chance_to_be_better_is_that_of_draws():
    rng = np.random.default_rng(1)

    def drawn(row):
        which = (rng.random(500_000) > PAIRS.weights[row, 0]).astype(int)
        return rng.gamma(PAIRS.shapes[row][which], 1 / PAIRS.rates[row][which])

    for first, second in [(0, 1), (1, 2), (2, 0)]:
        ours = chance_first_is_better(PAIRS, first=first, second=second)
        assert ours == pytest.approx(np.mean(drawn(first) < drawn(second)), abs=0.004)


def test_one_of_two_is_better():
    ours = chance_first_is_better(PAIRS, first=0, second=1)
    theirs = chance_first_is_better(PAIRS, first=1, second=0)
    assert ours + theirs == pytest.approx(1)
    assert ours > 0.9


def test_a_fix_is_as_good_as_itself():
    assert chance_first_is_better(PAIRS, first=2, second=2) == pytest.approx(0.5)


def test_two_exponentials_compare_as_their_rates():
    pair = Posterior(
        shapes=np.ones((2, 1)), rates=np.array([[3.0], [1.0]]), weights=np.ones((2, 1))
    )
    assert chance_first_is_better(pair, first=0, second=1) == pytest.approx(0.75)


def test_each_fix_is_held_against_the_best_of_the_others():
    chances = PAIRS.chance(0.08)
    found = chances_to_beat_best_other(PAIRS, chances=chances)
    best, next_best = (int(row) for row in np.argsort(chances)[:2])
    assert found[best] == chance_first_is_better(PAIRS, first=best, second=next_best)
    for row in set(range(3)) - {best}:
        assert found[row] == chance_first_is_better(PAIRS, first=row, second=best)


def test_a_fix_that_stands_alone_beats_nobody():
    alone = Posterior(np.ones((1, 1)), np.ones((1, 1)), np.ones((1, 1)))
    assert np.isnan(chances_to_beat_best_other(alone, chances=np.array([0.1]))[0])


def test_a_fix_costs_doing_it_and_its_share_of_doing_it_again():
    cost = cost_to_shop(
        own_cost=Decimal("30"), chance=0.25, rework_cost=Decimal("48.40")
    )
    assert cost == Decimal("42.10")


def test_log_rank_says_nothing_where_nothing_came_back():
    counts = counted(
        np.array([0, 1]), t=np.array([9, 9]), d=np.array([0, 0]), pairs=2, within=9
    )
    assert (log_rank(counts).statistic, log_rank(counts).p_value) == (0, 1)


def test_log_rank_takes_two_groups():
    with pytest.raises(ValueError, match="two groups"):
        log_rank(
            counted(np.array([0]), t=np.array([1]), d=np.array([1]), pairs=1, within=9)
        )


def test_every_two_fixes_are_compared_once():
    number = np.repeat([0, 1, 2], 12)
    d = np.concatenate([[1] * 8 + [0] * 4, [0] * 12, [1] * 4 + [0] * 8])
    t = np.where(d == 1, 10, 90)
    counts = counted(number, t=t, d=d, pairs=3, within=90)
    known = posterior(
        Prior((2.0,), (2.0,), (1.0,)),
        returned=counts.returned,
        expected=np.array([4.0, 4.0, 4.0]),
    )
    found = each_against_each(known, counts=counts)
    assert [(f.first, f.second) for f in found] == [(0, 1), (0, 2), (1, 2)]
    assert found[0].chance < 0.01
    assert found[0].p_said == "below 0.001"
    assert found[1].chance == pytest.approx(0.13, abs=0.05)
    assert float(found[1].p_said) > 0.05
