"""Reorder levels against printed tables, a general library and a simulation."""

import numpy as np
import pytest
from scipy import stats

from repairs.stock.reordering import (
    Need,
    UseRate,
    demand_level,
    need,
    normal_level,
    pooled_rate,
)

ALIKE = 1e5  # a shape so large that the demand is Poisson


@pytest.mark.parametrize(
    ("mean", "level"), [(0.5, 2), (1, 3), (2, 5), (3, 6), (5, 9), (8, 13), (10, 15)]
)
def test_a_demand_without_spread_is_that_of_the_poisson_table(mean, level):
    """C: scipy.stats.poisson."""
    assert demand_level(UseRate(ALIKE, ALIKE / mean), days=1) == level
    assert stats.poisson.ppf(0.95, mean) == level


def test_three_a_day_for_a_gamma_lead_time_of_five_days_needs_28():
    """C: scipy.stats.nbinom; mean 15, variance 3·5 + 3²·2² = 51.

    A gamma lead time of mean 5 and deviation 2 mixes a Poisson demand as a gamma rate
    of shape 6.25 does.
    """
    rate = UseRate(6.25, 1.25 / 3)
    known = stats.nbinom(6.25, (1.25 / 3) / (1.25 / 3 + 1))
    assert (known.mean(), known.var()) == pytest.approx((15, 51))
    assert demand_level(rate, days=1) == known.ppf(0.95) == 28


def test_a_normal_lead_time_demand():
    """P: Stevenson, Operations Management, 14th ed.: mean 50, deviation 5, risk 3 %."""
    assert normal_level(50, 5, service_level=0.97) == pytest.approx(59.40, abs=0.01)


@pytest.mark.parametrize("shape", [0.3, 1, 4, 60])
@pytest.mark.parametrize("service_level", [0.5, 0.9, 0.95, 0.999])
@pytest.mark.parametrize("days", [1, 7, 40])
def test_single_pieces_are_negative_binomial(shape, service_level, days):
    """C: scipy.stats.nbinom."""
    level = demand_level(UseRate(shape, 9), days=days, service_level=service_level)
    assert level == stats.nbinom.ppf(service_level, shape, 9 / (9 + days))


def test_uses_of_several_pieces_agree_with_a_simulation():
    """C: sums drawn one by one."""
    rate, sizes = UseRate(2.5, 10), (1, 1, 4, 4, 4, 10)
    dice = np.random.default_rng(7)
    uses = dice.poisson(dice.gamma(2.5, 12 / 10, 40_000))
    each = dice.choice(sizes, uses.sum())
    drawn = np.bincount(np.repeat(np.arange(len(uses)), uses), weights=each)
    level = demand_level(rate, days=12, sizes=sizes)
    assert np.mean(drawn <= level) == pytest.approx(0.95, abs=0.006)
    assert np.mean(drawn <= level - 1) < 0.956
    # All of one size: so many times the level of single pieces.
    fours = demand_level(rate, days=12, sizes=[4])
    assert fours == 4 * demand_level(rate, days=12)


def test_a_large_demand_takes_the_normal_distribution_without_a_jump():
    """C: scipy.stats.nbinom on both sides of the limit."""
    for mean in (290, 310):
        exact = stats.nbinom.ppf(0.95, 50, 50 / (50 + mean))
        assert demand_level(UseRate(50, 50 / mean), days=1) == pytest.approx(
            exact, rel=0.015
        )


def test_the_pooled_rate_is_that_from_which_uses_were_drawn():
    """C: drawn from a known gamma; scipy's nbinom is no better at 40 other points."""
    dice = np.random.default_rng(3)
    days = dice.integers(30, 365, 2000)
    uses = dice.poisson(dice.gamma(0.8, 1 / 25, 2000) * days)
    rate = pooled_rate(uses.tolist(), days=days.tolist())
    assert rate.shape == pytest.approx(0.8, rel=0.1)
    assert rate.days == pytest.approx(25, rel=0.12)

    def fit(shape, scale):
        return stats.nbinom.logpmf(uses, shape, scale / (scale + days)).sum()

    best = fit(rate.shape, rate.days)
    for _ in range(40):
        shape, scale = dice.uniform(0.3, 2), dice.uniform(10, 60)
        assert fit(shape, scale) <= best + 1e-6


def test_few_and_equal_parts_have_a_rate_too():
    assert pooled_rate([], days=[]) is None
    assert pooled_rate([0, 0], days=[30, 40]) is None
    assert pooled_rate([3, 0], days=[20, 40]).mean == pytest.approx(0.05)
    alike = pooled_rate([5] * 50, days=[100] * 50)
    assert alike.mean == pytest.approx(0.05, rel=1e-3) and alike.shape > 1000


def test_what_to_order():
    rate = UseRate(40, 100)  # 0.4 a day
    facts = {"sizes": [1], "lead_days": 7}
    level = demand_level(rate, days=7)
    target = demand_level(rate, days=21)
    assert (level, target) == (6, 14)
    assert need(rate, position=level + 1, **facts) == Need(level, 0)
    assert need(rate, position=level, **facts) == Need(level, target - level)
    assert need(rate, position=-3, **facts) == Need(level, target + 3)
    # The owner's own level; never used parts are ordered for a job only.
    assert need(rate, position=9, fixed_level=10, **facts) == Need(10, 9)
    assert need(rate, position=0, fixed_level=0, **facts) == Need(0, 0)
    assert need(None, position=0, **facts) == Need(0, 0)
    assert need(None, position=-2, **facts) == Need(0, 2)
