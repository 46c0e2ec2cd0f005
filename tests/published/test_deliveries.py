"""Which deliveries are to blame, against values from outside. After each: its source,
and whether the digits were seen there (published) or reckoned by two independent
programs (computed).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import gamma, nbinom

from repairs.comebacks.month.groups import MOSTLY_ALIKE, chance_over, shrunk

DATA = Path(__file__).parent / "data"


def lip_cancer() -> pd.DataFrame:
    return pd.read_csv(DATA / "scottish_lip_cancer_56.csv", comment="#")


# Clayton & Kaldor 1987 (Biometrics 43:671–681), 56 counties: shape 1.87949 and rate
# 1.321667, ratios of counties 1, 49 and 56: computed by scipy, statsmodels and R.
def test_counties_are_shrunk_as_by_three_programs():
    rows = lip_cancer()
    fitted, known = shrunk(rows["O"].to_numpy(), rows["E"].to_numpy())
    assert fitted.shapes == (pytest.approx(1.87949, rel=1e-3),)
    assert fitted.rates == (pytest.approx(1.321667, rel=1e-3),)
    ratio = dict(zip(rows["county"], (known.shapes / known.rates)[:, 0], strict=True))
    for county, expected in ((1, 3.9974), (49, 0.3319), (56, 0.6021)):
        assert ratio[county] == pytest.approx(expected, abs=5e-4)
    assert (known.shapes / known.rates)[:, 0] == pytest.approx(rows["eb"], abs=5e-4)


# The same counties: limits of county 1 and the chance to be above twice, by scipy.
def test_the_chance_to_be_above_twice_is_that_of_a_general_library():
    rows = lip_cancer()
    _, known = shrunk(rows["O"].to_numpy(), rows["E"].to_numpy())
    library = gamma.sf(2.0, 1.87949 + rows["O"], scale=1 / (1.321667 + rows["E"]))
    assert chance_over(known, 2.0) == pytest.approx(library, abs=2e-4)
    assert known.ratio_at(0.05)[0] == pytest.approx(2.2335, abs=1e-3)
    assert known.ratio_at(0.95)[0] == pytest.approx(6.1769, abs=1e-3)


def test_few_groups_are_taken_as_mostly_alike_and_weighed_as_by_a_general_library():
    returned, expected = np.array([6, 1, 0, 2]), np.array([0.9, 0.5, 2.0, 1.7])
    fitted, known = shrunk(returned, expected)
    assert fitted.basis == MOSTLY_ALIKE
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
    assert chance_over(known, 2.0) == pytest.approx(library, rel=1e-9)
