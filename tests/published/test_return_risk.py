"""The return risk against values from outside. After each: its source, and whether the
digits were seen there (published), computed by two independent programs (computed), or
are an identity that must hold.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest
from statsmodels.discrete.discrete_model import NegativeBinomial
from statsmodels.duration.survfunc import SurvfuncRight, survdiff

from repairs.comebacks.estimate import prior
from repairs.comebacks.estimate.kaplan_meier import (
    beta_product_interval,
    cumulative_hazard,
    expected_comebacks,
    kaplan_meier,
    log_rank,
    survival,
)
from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.watch import Counts, count_exits

DATA = Path(__file__).parent / "data"

# One gamma and two, at a baseline hazard of 0.08: computed with 30 digits.
ONE = Prior((1.5,), (1.5,), (1.0,))
TWO = Prior((4.0, 4.0), (16.0, 0.8), (0.8, 0.2))
HAZARD = 0.08
OF_ONE = [
    (0, 0.08, 0.071411078, 0.0088679475, 0.17949987, 0.24452042),
    (1, 0.08, 0.11616235, 0.028582951, 0.24441709, 0.52637224),
    (0, 0.8, 0.049994065, 0.006100383, 0.12707733, 0.10881134),
    (2, 0.4, 0.13441557, 0.044603097, 0.25632437, 0.65939885),
    (5, 1.0, 0.18514194, 0.089962826, 0.30078187, 0.92225267),
    (12, 30.0, 0.033662619, 0.020300815, 0.049661924, 1.3286936e-7),
]
OF_TWO = [
    (0, 0.08, 0.85164793, 0.060345105, 0.0071540636, 0.33763595, 0.1438552),
    (1, 0.08, 0.23906277, 0.27429656, 0.015510626, 0.54683753, 0.755819),
    (0, 0.8, 0.9813617, 0.021776699, 0.00652637, 0.039237424, 0.015605939),
    (2, 0.4, 0.089436463, 0.29492439, 0.028982016, 0.49846495, 0.90537357),
    (5, 1.0, 0.0010693689, 0.32356527, 0.18765222, 0.47346923, 0.99814031),
    (12, 30.0, 0.99904343, 0.027431663, 0.017304641, 0.039410085, 3.6445036e-9),
]


def read(name: str) -> pd.DataFrame:
    return pd.read_csv(DATA / name, comment="#")


def freireich(*, within: int) -> Counts:
    """Weeks to relapse under 6-MP (row 0) and placebo (row 1), cut at `within`."""
    rows = read("freireich_6mp.csv")
    is_in = rows["weeks"] <= within
    return count_exits(
        (rows["group"] != "6MP").astype("int64").to_numpy(),
        days=rows["weeks"].clip(upper=within).to_numpy(),
        is_event=(rows["relapse"] * is_in).astype("int64").to_numpy(),
        pairs=2,
        within=within,
    )


def pooled(model: Prior, comebacks: int, expected: float):
    return posterior(
        model, comebacks=np.array([comebacks]), expected=np.array([expected])
    )


@pytest.mark.parametrize(("o", "e", "chance", "low", "high", "over"), OF_ONE)
def test_the_posterior_of_one_gamma_is_as_computed(o, e, chance, low, high, over):
    found = pooled(ONE, o, e)
    assert found.risk(HAZARD)[0] == pytest.approx(chance, rel=1e-6)
    assert found.risk_quantile(0.05, HAZARD)[0] == pytest.approx(low, rel=1e-5)
    assert found.risk_quantile(0.95, HAZARD)[0] == pytest.approx(high, rel=1e-5)
    assert found.probability_above(0.1, HAZARD)[0] == pytest.approx(over, rel=1e-6)


@pytest.mark.parametrize(("o", "e", "q", "chance", "low", "high", "over"), OF_TWO)
def test_the_posterior_of_two_gammas_is_as_computed(o, e, q, chance, low, high, over):
    found = pooled(TWO, o, e)
    assert found.weights[0, 0] == pytest.approx(q, rel=1e-6)
    assert found.risk(HAZARD)[0] == pytest.approx(chance, rel=1e-6)
    assert found.risk_quantile(0.05, HAZARD)[0] == pytest.approx(low, rel=1e-5)
    assert found.risk_quantile(0.95, HAZARD)[0] == pytest.approx(high, rel=1e-5)
    assert found.probability_above(0.1, HAZARD)[0] == pytest.approx(over, rel=1e-6)


# DuMouchel 1999 (Am. Stat. 53:177–190) as in openEBGM 0.9.1, vignettes 3 and 4, on FDA
# CAERS 2012: published. Its bisection stops at 0.005, so limits are held to 0.01.
CAERS = Prior(
    (3.25379356, 2.02612692), (0.39988854, 1.90807970), (0.06534557, 0.93465443)
)
SIGNALS = [
    (1, 0.0360548272, 0.2819737, 0.49, 13.85),
    (1, 0.0038736591, 0.3409653, 0.52, 15.78),
    (1, 0.0765792610, 0.2226356, 0.47, 11.77),
    (16, 0.40643623, 0.9999997, 15.68, 33.48),
    (19, 0.89690107, 0.9999923, 11.65, 23.55),
]


@pytest.mark.parametrize(("n", "e", "q", "low", "high"), SIGNALS)
def test_the_mixture_posterior_is_dumouchels(n, e, q, low, high):
    found = pooled(CAERS, n, e)
    assert found.weights[0, 0] == pytest.approx(q, abs=1e-6)
    assert found.quantile(0.05)[0] == pytest.approx(low, abs=0.0101)
    assert found.quantile(0.95)[0] == pytest.approx(high, abs=0.0101)


# Scottish lip cancer, Clayton & Kaldor 1987 (Biometrics 43:671–681). Fit computed by
# scipy, statsmodels and R's glm.nb; the printed fit is about 1.88 and 1.32 (memory).
def test_one_gamma_is_fitted_to_lip_cancer_as_by_three_programs():
    rows = read("scottish_lip_cancer_56.csv")
    found = prior.one_gamma(rows["O"].to_numpy(), rows["E"].to_numpy())
    assert found.shapes[0] == pytest.approx(1.87949, rel=1e-3)
    assert found.rates[0] == pytest.approx(1.321667, rel=1e-3)
    assert found.log_likelihood == pytest.approx(-181.576074, abs=1e-5)


def test_one_gamma_is_fitted_as_statsmodels_does_now():
    rows = read("scottish_lip_cancer_56.csv")
    found = prior.one_gamma(rows["O"].to_numpy(), rows["E"].to_numpy())
    model = NegativeBinomial(rows["O"], np.ones(len(rows)), exposure=rows["E"])
    reference = model.fit(disp=False, maxiter=500)
    assert found.means[0] == pytest.approx(np.exp(reference.params["const"]), rel=1e-3)
    assert 1 / found.shapes[0] == pytest.approx(reference.params["alpha"], rel=1e-3)
    assert found.log_likelihood == pytest.approx(reference.llf, abs=1e-5)


@pytest.mark.parametrize(
    ("county", "ratio"),
    [(1, 3.9974), (2, 4.0791), (49, 0.3319), (55, 0.3404), (56, 0.6021)],
)
def test_the_ratios_of_counties_are_pooled_as_computed(county, ratio):
    rows = read("scottish_lip_cancer_56.csv")
    observed, expected = rows["O"].to_numpy(), rows["E"].to_numpy()
    fitted = prior.one_gamma(observed, expected)
    found = posterior(fitted, comebacks=observed, expected=expected)
    mean = (found.shapes / found.rates)[county - 1, 0]
    assert mean == pytest.approx(ratio, abs=5e-4)


# Freireich et al. 1963 (Blood 21:699–716). Kaplan–Meier computed by four libraries.
@pytest.mark.parametrize(
    ("week", "keeps"),
    [(6, 0.857143), (7, 0.806723), (10, 0.752941), (16, 0.627451), (23, 0.448179)],
)
def test_kaplan_meier_on_6mp(week, keeps):
    assert 1 - kaplan_meier(freireich(within=week)).risk[0] == pytest.approx(
        keeps, abs=1e-6
    )


def test_kaplan_meier_is_that_of_statsmodels():
    rows = read("freireich_6mp.csv").query("group == '6MP'")
    reference = SurvfuncRight(rows["weeks"], rows["relapse"])
    for week, keeps in zip(reference.surv_times, reference.surv_prob, strict=True):
        figures = 1 - kaplan_meier(freireich(within=int(week))).risk[0]
        assert figures == pytest.approx(keeps, abs=1e-12)


# NIST/SEMATECH e-Handbook 8.2.1.5: risk sets published, products computed.
@pytest.mark.parametrize(
    ("hours", "keeps"),
    [
        (10, 0.95),
        (32, 0.9),
        (56, 0.847059),
        (98, 0.794118),
        (122, 0.737395),
        (181, 0.670359),
    ],
)
def test_kaplan_meier_on_the_handbooks_units(hours, keeps):
    rows = read("nist_8_2_1_5_km.csv")
    counts = count_exits(
        np.zeros(len(rows), dtype=np.int64),
        days=rows["hours"].clip(upper=hours).to_numpy(),
        is_event=(rows["failed"] * (rows["hours"] <= hours)).to_numpy(),
        pairs=1,
        within=hours,
    )
    assert survival(counts.events, counts.at_risk)[0] == pytest.approx(keeps, abs=1e-6)


# Beta-product limits on 6-MP: computed by R bpcp 1.4.2 and a program of its own.
BETA_PRODUCT = [
    (6, 0.05, 0.6663518, 0.9599005),
    (10, 0.05, 0.5368499, 0.8977207),
    (20, 0.05, 0.3670397, 0.8133475),
    (23, 0.05, 0.2062191, 0.6907106),
    (6, 0.025, 0.6317741, 0.9695110),
    (10, 0.025, 0.5008259, 0.9150308),
    (20, 0.025, 0.3307946, 0.8384169),
    (23, 0.025, 0.1761968, 0.7260637),
    (35, 0.025, 0.0, 0.7260637),
]


@pytest.mark.parametrize(("week", "tail", "low", "high"), BETA_PRODUCT)
def test_beta_product_limits_on_6mp(week, tail, low, high):
    rows = read("freireich_6mp.csv").query("group == '6MP'")
    weeks = np.arange(week + 1)
    lost = [((rows["weeks"] == w) & (rows["relapse"] == 1)).sum() for w in weeks]
    at_risk = [(rows["weeks"] >= w).sum() for w in weeks]
    figures = beta_product_interval(
        np.array([lost]),
        np.array([at_risk]),
        after=np.array([(rows["weeks"] > week).sum()]),
        tail=tail,
    )
    assert figures[0][0] == pytest.approx(low, abs=1e-6)
    assert figures[1][0] == pytest.approx(high, abs=1e-6)


# With nobody lost from sight the limits are Clopper and Pearson's: an identity of the
# 2013 paper. 2 of 20: 0.683017–0.987651 surviving, published with statsmodels.
@pytest.mark.parametrize(
    ("comebacks", "repairs"),
    [(0, 20), (1, 29), (2, 20), (15, 148), (20, 20), (3, 20_000)],
)
def test_limits_without_censoring_are_clopper_and_pearsons(comebacks, repairs):
    t = np.full(repairs, 90)
    t[:comebacks] = np.arange(comebacks) % 90
    d = np.arange(repairs) < comebacks
    pair = np.zeros(repairs, dtype=np.int64)
    counts = count_exits(pair, days=t, is_event=d.astype(np.int64), pairs=1, within=90)
    exact = binomtest(comebacks, repairs).proportion_ci(0.9, method="exact")
    figures = kaplan_meier(counts, tail=0.05)
    assert figures.low[0] == pytest.approx(exact.low, abs=1e-9)
    assert figures.high[0] == pytest.approx(exact.high, abs=1e-9)


def test_two_of_twenty_has_the_limits_of_statsmodels():
    d = (np.arange(20) < 2).astype(np.int64)
    t = np.where(d == 1, 5, 90)
    counts = count_exits(
        np.zeros(20, dtype=np.int64), days=t, is_event=d, pairs=1, within=90
    )
    figures = kaplan_meier(counts, tail=0.025)
    assert 1 - figures.high[0] == pytest.approx(0.68301729, abs=1e-7)
    assert 1 - figures.low[0] == pytest.approx(0.98765147, abs=1e-7)


# Log-rank, 6-MP against placebo. Computed by four libraries: 16.792941; published (R's
# survdiff): O 9 and 21, E 19.3 and 10.7, chi-square 16.8, p 4.17e-05.
def test_log_rank_on_6mp_against_placebo():
    found = log_rank(freireich(within=35))
    assert list(found.observed) == [9, 21]
    assert found.expected == pytest.approx([19.250501, 10.749499], abs=1e-6)
    assert found.statistic == pytest.approx(16.792941, abs=1e-6)
    assert found.p_value == pytest.approx(4.1688e-05, abs=1e-9)


def test_log_rank_is_that_of_statsmodels():
    rows = read("freireich_6mp.csv")
    statistic, p_value = survdiff(rows["weeks"], rows["relapse"], rows["group"])
    found = log_rank(freireich(within=35))
    assert found.statistic == pytest.approx(statistic, rel=1e-9)
    assert found.p_value == pytest.approx(p_value, rel=1e-9)


# Two small cases R prints, as quoted in the tests of lifelines: published.
@pytest.mark.parametrize(
    ("d", "statistic", "p"),
    [([1] * 6, 0.254237, 0.614107), ([1, 0, 1] * 2, 0.384615, 0.535143)],
)
def test_log_rank_on_six_times(d, statistic, p):
    t = np.array([10, 20, 30, 10, 20, 50])
    pair = np.array([0, 0, 0, 1, 1, 1])
    found = log_rank(
        count_exits(pair, days=t, is_event=np.array(d), pairs=2, within=50)
    )
    assert found.statistic == pytest.approx(statistic, abs=1e-6)
    assert found.p_value == pytest.approx(p, abs=1e-6)


def test_expected_relapses_are_those_of_the_log_rank_test():
    counts = freireich(within=35)
    expected = expected_comebacks(counts, cumulative_hazard(counts))
    assert expected == pytest.approx([19.250501, 10.749499], abs=1e-6)
    assert expected.sum() == pytest.approx(30, abs=1e-12)


# End to end with a prior of Gamma(2, 2) and a horizon of ten weeks: computed.
def test_6mp_end_to_end():
    whole, ten = freireich(within=35), freireich(within=10)
    hazards = cumulative_hazard(whole)
    hazard = hazards[10]
    assert hazard == pytest.approx(cumulative_hazard(ten)[-1], abs=1e-12)
    assert hazard == pytest.approx(0.546859, abs=1e-6)
    found = posterior(
        Prior((2.0,), (2.0,), (1.0,)),
        comebacks=whole.comebacks,
        expected=expected_comebacks(whole, hazards),
    )
    low, high = found.risk_quantile(0.05, hazard), found.risk_quantile(0.95, hazard)
    assert found.risk(hazard) == pytest.approx([0.243832, 0.619382], abs=1e-6)
    assert low == pytest.approx([0.146793, 0.490462], abs=1e-5)
    assert high == pytest.approx([0.353709, 0.740101], abs=1e-5)
