"""The formulas of the diagnosis, against values from outside. After each: its source,
and whether the digits were seen there (P), are from memory (M), or calculated by two
independent programs (C).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import entropy as scipy_entropy
from sklearn.naive_bayes import CategoricalNB

from repairs.diagnosis.likely_faults import posterior, share_of_new, smoothed
from repairs.diagnosis.next_check import entropy, information_gain

DATA = Path(__file__).parent / "data"
COLUMNS = ["outlook", "temperature", "humidity", "wind"]
ASKED = ("Sunny", "Cool", "High", "Strong")


@pytest.fixture(scope="module")
def days():
    return pd.read_csv(DATA / "play_tennis.csv", comment="#").rename(columns=str.lower)


def counts_of(days, column):
    """How often each value (row) occurs on days of No and of Yes (columns)."""
    return pd.crosstab(days[column], days["play"])


def shares(days):
    return days["play"].value_counts(normalize=True).sort_index().to_numpy()


# Quinlan (1986), Induction of Decision Trees, Machine Learning 1: 0.940, and gains of
# 0.246, 0.029, 0.151, 0.048. P to three digits; further digits C (also by scipy).
@pytest.mark.parametrize(
    ("column", "gain"),
    [
        ("outlook", 0.246750),
        ("humidity", 0.151836),
        ("wind", 0.048127),
        ("temperature", 0.029223),
    ],
)
def test_entropy_and_gains_of_the_weather_data(days, column, gain):
    priors, table = shares(days), counts_of(days, column)
    assert entropy(priors) == pytest.approx(0.940286, abs=1e-6)
    assert entropy(priors) == pytest.approx(scipy_entropy(priors, base=2))
    chances = (table / table.sum()).to_numpy()
    assert information_gain(priors, chances) == pytest.approx(gain, abs=1e-6)


# Mitchell (1997), Machine Learning, section 6.9: no 0.795 (M); further digits C.
def test_naive_bayes_of_the_weather_data_without_smoothing(days):
    likelihoods = []
    for column, value in zip(COLUMNS, ASKED, strict=True):
        table = counts_of(days, column)
        with_it, of = table.loc[value].to_numpy(float), table.sum().to_numpy(float)
        likelihoods.append(smoothed(with_it, of, np.zeros(2), strength=0))
    no, yes = posterior(shares(days), *likelihoods)
    assert yes == pytest.approx(0.204583, abs=1e-6)
    assert no == pytest.approx(1 - 0.204583, abs=1e-6)


# The same with one day added to each value (Laplace): C, by scikit-learn.
def test_naive_bayes_with_laplace_smoothing_equals_scikit_learn(days):
    codes = days[COLUMNS].apply(lambda column: column.astype("category").cat.codes)
    model = CategoricalNB(alpha=1.0).fit(codes.to_numpy(), days["play"])
    expected = model.predict_proba(codes.to_numpy())
    for asked, wanted in zip(days[COLUMNS].to_numpy(), expected, strict=True):
        likelihoods = []
        for column, value in zip(COLUMNS, asked, strict=True):
            table = counts_of(days, column)
            likelihoods.append(
                smoothed(
                    table.loc[value].to_numpy(float),
                    table.sum().to_numpy(float),
                    np.full(2, 1 / len(table)),
                    strength=len(table),
                )
            )
        found = posterior(shares(days), *likelihoods)
        assert found == pytest.approx(wanted, abs=1e-12)


# Two equally likely faults, a test that is right in 9 of 10 cases: the capacity of a
# binary symmetric channel, 1 − H(0.1). C.
def test_the_gain_of_a_noisy_test():
    gain = information_gain(np.array([0.5, 0.5]), np.array([[0.9, 0.1], [0.1, 0.9]]))
    assert gain == pytest.approx(0.5310044, abs=1e-7)


# Gale and Sampson (1995), Good-Turing Frequency Estimation Without Tears, "prosody": of
# 30,902 words 120 were met once, which leaves 0.003883 to those not met (M). Ours adds
# one to each kind.
def test_the_share_of_faults_that_were_not_met():
    met = np.append(np.ones(120), np.full(7695, 4.0))
    met[-1] += 30_902 - met.sum()
    assert share_of_new(met) == pytest.approx(0.003883, rel=0.01)
    assert share_of_new(np.zeros(3)) == 0.5
