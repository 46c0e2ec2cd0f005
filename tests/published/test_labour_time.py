"""Labour times, against values from outside. After each: its source, and whether the
digits were seen there (P), are from memory (M), or calculated by two independent
programs (C).
"""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from repairs.knowledge.labour_time import (
    DEFAULT_VARIANCES,
    Lognormal,
    VarianceComponents,
    labour_times,
)

DATA = Path(__file__).parent / "data"
Z95 = 1.6448536269514722


def lognormal(times: list[float]) -> Lognormal:
    """Return the lognormal of one sample of times, with the divisor n − 1."""
    logs = np.log(times)
    return Lognormal(float(logs.mean()), float(logs.std(ddof=1)))


def repair_times() -> list[float]:
    rows = pd.read_csv(DATA / "active_repair_times_46.csv", comment="#")
    return rows["hours"].repeat(rows["count"]).tolist()


# 46 active repair times (von Alven 1964): C, in two programs.
def test_the_lognormal_of_46_repair_times():
    time = lognormal(repair_times())
    assert time.mu == pytest.approx(0.658392, abs=1e-6)
    assert time.sigma == pytest.approx(1.113966, abs=1e-6)


# MIL-HDBK-338B 5.6.2.1.1 reads one 5.4 as 5.5: C; its printed results M.
def test_the_handbooks_variant_gives_its_mean_median_and_95_percent_point():
    times = sorted(repair_times())
    times[times.index(5.4)] = 5.5
    time = lognormal(times)
    assert time.mu == pytest.approx(0.658791, abs=1e-6)
    assert time.sigma == pytest.approx(1.114345, abs=1e-6)
    assert time.mean == pytest.approx(3.595, abs=5e-4)
    assert time.median == pytest.approx(1.932, abs=1e-3)
    assert time.quantile(Z95) == pytest.approx(12.08, abs=5e-3)


def frame_of(rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["fault", "fix", "minutes", "usual"])


def shop_of(fixes, *, seed=5) -> list[tuple]:
    """A shop that takes 1.2 times what the book says."""
    pick = np.random.default_rng(seed)
    rows = []
    for fix in range(fixes):
        of_fix = pick.normal(0, 0.4)
        for fault in range(int(pick.integers(1, 5))):
            of_pair = of_fix + pick.normal(0, 0.3)
            for _ in range(int(pick.integers(1, 12))):
                log = math.log(600) + 0.18 + of_pair + pick.normal(0, 0.35)
                rows.append((fault, fix, round(math.exp(log)), 600))
    return rows


# statsmodels MixedLM, REML, fixes and pairs of a fix at random: C.
def test_variances_and_effects_equal_those_of_a_mixed_model():
    rows = shop_of(40)
    frame = pd.DataFrame(
        {
            "y": [math.log(row[2] / row[3]) for row in rows],
            "fix": [row[1] for row in rows],
            "pair": [f"{row[1]}-{row[0]}" for row in rows],
        }
    )
    model = MixedLM.from_formula(
        "y ~ 1",
        frame,
        re_formula="1",
        vc_formula={"pair": "0 + C(pair)"},
        groups="fix",
    ).fit(reml=True)
    time = labour_times(frame_of(rows), book_sd=1e6)
    assert time.variances.within == pytest.approx(model.scale, rel=2e-3)
    assert time.variances.fixes == pytest.approx(model.cov_re.iloc[0, 0], rel=2e-2)
    assert time.variances.pairs == pytest.approx(model.vcomp[0], rel=2e-2)
    assert time.shop == pytest.approx(model.fe_params.iloc[0], abs=2e-3)
    for fix in range(40):
        effects = model.random_effects[fix]
        middle, _ = time.by_fix[fix]
        assert middle - time.shop == pytest.approx(effects["fix"], abs=5e-3)
        for (fault, of_fix), (pair, _) in time.by_pair.items():
            if of_fix == fix:
                effect = effects[f"pair[C(pair)[{fix}-{fault}]]"]
                assert pair - middle == pytest.approx(effect, abs=5e-3)


def test_without_repairs_the_usual_minutes_count():
    time = labour_times(frame_of([])).of("any", "new", usual=45)
    assert time.mean == pytest.approx(45)
    assert time.median < time.mean < time.quantile(0.8416)


def test_one_repair_changes_the_usual_minutes_little():
    time = labour_times(frame_of([("a", "x", 90, 45)])).of("a", "x", usual=45)
    assert 50 < time.mean < 75


def test_a_pair_with_many_repairs_takes_its_own_time():
    rows = shop_of(30) + [("own", "slow", 95 + n % 11, 40) for n in range(200)]
    time = labour_times(frame_of(rows)).of("own", "slow", usual=40)
    assert time.median == pytest.approx(100, rel=0.02)


def test_a_new_fault_takes_the_labour_time_of_its_fix():
    rows = shop_of(30) + [("own", "slow", 95 + n % 11, 40) for n in range(60)]
    time = labour_times(frame_of(rows)).of("other", "slow", usual=40)
    unknown = labour_times(frame_of(rows)).of("other", "never done", usual=40)
    assert time.median > 1.5 * unknown.median


@pytest.mark.parametrize("outlier", [0, 1, 3_000, 10_000])
def test_outliers_in_minutes_are_clipped(outlier):
    rows = [("a", f"fix {n % 5}", 40 + n % 9, 45) for n in range(60)]
    calm = labour_times(frame_of(rows)).of("a", "fix 1", usual=45)
    time = labour_times(frame_of([*rows, ("a", "fix 1", outlier, 45)]))
    assert time.of("a", "fix 1", usual=45).mean == pytest.approx(calm.mean, rel=0.2)


def test_a_fix_without_usual_minutes_has_a_labour_time():
    rows = [("a", f"fix {n % 5}", 40, 0) for n in range(60)]
    assert labour_times(frame_of(rows)).of("a", "fix 1", usual=0).mean == pytest.approx(
        40, 0.1
    )


def test_identical_minutes_are_handled():
    rows = [("a", f"fix {n % 4}", 30, 30) for n in range(40)]
    time = labour_times(frame_of(rows))
    assert time.of("a", "fix 1", usual=30).mean == pytest.approx(30, rel=0.02)


def test_given_variances_are_used():
    given = VarianceComponents(0.0, 0.0, 0.01)
    assert (
        labour_times(frame_of(shop_of(10)), variances=given).variances
        == given
        != DEFAULT_VARIANCES
    )
