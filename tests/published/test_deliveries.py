"""Which deliveries are to blame, against values from outside. After each: its source,
and whether the digits were seen there (published) or calculated by two independent
programs (computed).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import gamma, nbinom

from repairs.month.outliers import MOSTLY_GOOD, partial_pooling

DATA = Path(__file__).parent / "data"


def lip_cancer() -> pd.DataFrame:
    return pd.read_csv(DATA / "scottish_lip_cancer_56.csv", comment="#")


# Clayton & Kaldor 1987 (Biometrics 43:671–681), 56 counties: shape 1.87949 and rate
# 1.321667, ratios of counties 1, 49 and 56: computed by scipy, statsmodels and R.
def test_counties_are_pooled_as_by_three_programs():
    rows = lip_cancer()
    fitted, known = partial_pooling(rows["O"].to_numpy(), rows["E"].to_numpy())
    assert fitted.shapes == (pytest.approx(1.87949, rel=1e-3),)
    assert fitted.rates == (pytest.approx(1.321667, rel=1e-3),)
    ratio = dict(zip(rows["county"], (known.shapes / known.rates)[:, 0], strict=True))
    for county, expected in ((1, 3.9974), (49, 0.3319), (56, 0.6021)):
        assert ratio[county] == pytest.approx(expected, abs=5e-4)
    assert (known.shapes / known.rates)[:, 0] == pytest.approx(rows["eb"], abs=5e-4)


# The same counties: limits of county 1 and the chance to be above twice, by scipy.
def test_the_probability_of_more_than_double_equals_scipys():
    rows = lip_cancer()
    _, known = partial_pooling(rows["O"].to_numpy(), rows["E"].to_numpy())
    library = gamma.sf(2.0, 1.87949 + rows["O"], scale=1 / (1.321667 + rows["E"]))
    assert known.probability_ratio_above(2.0) == pytest.approx(library, abs=2e-4)
    assert known.quantile(0.05)[0] == pytest.approx(2.2335, abs=1e-3)
    assert known.quantile(0.95)[0] == pytest.approx(6.1769, abs=1e-3)


def test_few_groups_are_mostly_good_and_weighted_as_by_scipy():
    returned, expected = np.array([6, 1, 0, 2]), np.array([0.9, 0.5, 2.0, 1.7])
    fitted, known = partial_pooling(returned, expected)
    assert fitted.basis == MOSTLY_GOOD
    logs = np.stack(
        [
            np.log(w) + nbinom.logpmf(returned, a, b / (b + expected))
            for a, b, w in zip(fitted.shapes, fitted.rates, fitted.weights, strict=True)
        ],
        axis=1,
    )
    weights = np.exp(logs) / np.exp(logs).sum(axis=1, keepdims=True)
    assert known.weights == pytest.approx(weights, rel=1e-9)
    above = [
        gamma.sf(2.0, a + returned, scale=1 / (b + expected))
        for a, b in zip(fitted.shapes, fitted.rates, strict=True)
    ]
    library = (weights * np.stack(above, axis=1)).sum(axis=1)
    assert known.probability_ratio_above(2.0) == pytest.approx(library, rel=1e-9)
