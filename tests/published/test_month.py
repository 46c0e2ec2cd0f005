"""The month against values from outside. After each: its source, and whether the digits
were seen there (published), calculated by two independent programs (computed), or are
from memory of the source (memory).
"""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.stats import binom, poisson_binom

from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import NOT_OBSERVED
from repairs.month.forecast import (
    TAIL_PROBABILITY,
    distribution,
    forecast,
    poisson_binomial,
    quantile,
)
from repairs.month.frame import Observations, comeback_risk
from repairs.month.months import p_chart

DATA = Path(__file__).parent / "data"


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / name, comment="#")


# NIST/SEMATECH e-Handbook 6.3.3.2: counts and the mean 0.2313 published; limits to six
# digits computed, to four (0.4102 and 0.0524) from memory.
def test_the_p_chart_of_the_handbooks_wafers_has_its_limits():
    rows = read("nist_pchart_wafers.csv")
    chart = p_chart(rows["defective"].to_numpy(), sizes=rows["n"].to_numpy())
    assert chart.centre == pytest.approx(0.231333, abs=5e-7)
    assert chart.low == pytest.approx(np.full(30, 0.052428), abs=5e-7)
    assert chart.high == pytest.approx(np.full(30, 0.410239), abs=5e-7)
    is_out = (chart.rate < chart.low) | (chart.rate > chart.high)
    assert rows["wafer"][is_out].tolist() == [15, 23]


# Montgomery, Introduction to Statistical Quality Control, solution of exercise 6-1:
# published. 117 of 20 × 100, then 102 of 19 × 100.
@pytest.mark.parametrize(
    ("defective", "samples", "centre", "high"),
    [(117, 20, 0.0585, 0.1289), (102, 19, 0.0537, 0.1213)],
)
def test_a_limit_below_zero_is_zero(defective, samples, centre, high):
    counts = np.full(samples, defective // samples)
    counts[0] += defective - counts.sum()
    chart = p_chart(counts, sizes=np.full(samples, 100))
    assert chart.centre == pytest.approx(centre, abs=5e-5)
    assert chart.high == pytest.approx(np.full(samples, high), abs=5e-5)
    assert not chart.low.any()


def test_limits_widen_where_there_are_fewer_repairs():
    of = np.array([10, 40, 160])
    chart = p_chart(np.array([1, 4, 16]), sizes=of)
    # Identity: the half-width goes by the root of the number.
    assert (chart.high - 0.1) * np.sqrt(of) == pytest.approx(np.full(3, 0.9))


def weibull(rows: pd.DataFrame) -> tuple[float, float]:
    """Shape and scale by maximum likelihood."""
    t, failed, n = (rows[name].to_numpy(float) for name in ("hours", "failed", "count"))

    def loss(x):
        beta, eta = np.exp(x)
        log_density = np.log(beta / eta) + (beta - 1.0) * np.log(t / eta)
        return -float((n * (failed * log_density - (t / eta) ** beta)).sum())

    found = minimize(
        loss,
        np.log([1.5, 5000.0]),
        method="Nelder-Mead",
        options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 5000},
    )
    beta, eta = np.exp(found.x)
    return float(beta), float(eta)


# PricingRules cages, Abernethy et al. 1983; Meeker & Escobar 1998, example 12.8. Shape
# 2.0353, scale 11792.2 and 5.058 expected: computed; the book's 5.057: memory. Limits 2
# and 9 of the Poisson-binomial: computed.
def test_the_expected_failures_of_bearing_cages_equal_the_book():
    rows = read("bearing_cage.csv")
    beta, eta = weibull(rows)
    assert (beta, eta) == (
        pytest.approx(2.035319, rel=1e-3),
        pytest.approx(11792.18, rel=1e-3),
    )
    each = rows.loc[rows.index.repeat(rows["count"])]
    hours = each["hours"].to_numpy()
    today = date(2026, 1, 1).toordinal()
    longest = 3000
    # One pair, of which the ratio is known: a gamma so narrow that it is one.
    sure = Posterior(np.array([[1e10]]), np.array([[1e10]]), np.ones((1, 1)))
    seen = Observations.of(
        pd.DataFrame(
            {
                "repair": np.arange(len(hours)),
                "pair": 0,
                "handed_over": today - hours,
                "out_of_use": NOT_OBSERVED,
                "came_back": np.where(each["failed"] == 1, today, NOT_OBSERVED),
            }
        ),
        as_of=date(2026, 1, 1),
        within=longest,
        hazard=(np.arange(longest + 1) / eta) ** beta,
        posterior=sure,
    )
    found = forecast(seen, days=300)
    assert found.in_follow_up == 1697
    assert found.expected == pytest.approx(5.0582, abs=0.005)
    assert (found.low, found.high) == (2, 9)


@pytest.mark.parametrize("seed", range(5))
def test_the_poisson_binomial_equals_scipys(seed):
    chances = np.random.default_rng(seed).beta(1, 6, size=40)
    counts = poisson_binomial(chances[None, :])[0]
    library = poisson_binom(chances)
    assert counts == pytest.approx(library.pmf(np.arange(41)), abs=1e-12)
    for p in (TAIL_PROBABILITY, 0.5, 1 - TAIL_PROBABILITY):
        assert quantile(counts, p) == int(library.ppf(p))


def test_uncertain_pairs_widen_the_range_as_in_simulation():
    pair, hazard = np.repeat([0, 1], 60), np.full(120, 0.1)
    vague = Posterior(
        np.array([[2.0, 3.0], [1.5, 4.0]]),
        np.array([[4.0, 1.5], [3.0, 2.0]]),
        np.array([[0.7, 0.3], [0.9, 0.1]]),
    )
    counts = distribution(vague, pair=pair, hazard=hazard)
    rng = np.random.default_rng(1)
    part = (rng.random((100_000, 2)) > vague.weights[:, 0]).astype(int)
    rows = np.arange(2)
    ratio = rng.gamma(vague.shapes[rows, part], 1.0 / vague.rates[rows, part])
    drawn = rng.binomial(60, -np.expm1(-ratio * 0.1)).sum(axis=1)
    low, high = np.quantile(drawn, [TAIL_PROBABILITY, 1 - TAIL_PROBABILITY])
    assert abs(quantile(counts, TAIL_PROBABILITY) - low) <= 1
    assert abs(quantile(counts, 1 - TAIL_PROBABILITY) - high) <= 1
    plug_in = binom(120, drawn.mean() / 120)
    assert high - low > 1.5 * (plug_in.ppf(0.95) - plug_in.ppf(0.05))


def test_the_distribution_keeps_the_expected_number():
    pairs = 400
    vague = Posterior(
        np.full((pairs, 2), [1.2, 3.0]),
        np.full((pairs, 2), [4.0, 1.0]),
        np.full((pairs, 2), [0.85, 0.15]),
    )
    pair, hazard = np.repeat(np.arange(pairs), 5), np.full(5 * pairs, 0.08)
    counts = distribution(vague, pair=pair, hazard=hazard)
    expected = comeback_risk(vague, pair, hazard).sum()
    assert counts @ np.arange(len(counts)) == pytest.approx(expected, rel=0.02)
