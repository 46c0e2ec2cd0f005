import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import gamma, nbinom

from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import Prior, log_likelihood

TWO = Prior((4.0, 4.0), (16.0, 0.8), (0.8, 0.2))


def known(returned, expected, model=TWO):
    return posterior(
        model, comebacks=np.array([returned]), expected=np.array([expected])
    )


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60))
def test_a_further_comeback_never_lowers_the_risk(returned, expected):
    less, more = known(returned, expected), known(returned + 1, expected)
    assert less.risk(0.08)[0] <= more.risk(0.08)[0]
    assert (
        less.probability_above(0.1, 0.08)[0]
        <= more.probability_above(0.1, 0.08)[0] + 1e-12
    )


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60))
def test_longer_follow_up_without_a_comeback_never_raises_the_risk(returned, expected):
    short, long = known(returned, expected), known(returned, expected + 0.5)
    assert long.risk(0.08)[0] <= short.risk(0.08)[0] + 1e-12


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60), st.floats(0.01, 0.98))
def test_the_quantile_inverts_the_distribution(returned, expected, p):
    found = known(returned, expected)
    ratio = found.quantile(p)[0]
    below = gamma.cdf(ratio, found.shapes[0], scale=1 / found.rates[0])
    assert float(below @ found.weights[0]) == pytest.approx(p, abs=1e-9)
    assert ratio <= found.quantile(p + 0.01)[0]


def test_the_risk_of_a_shorter_period_is_smaller():
    found = known(2, 0.4)
    assert found.risk(0.02)[0] < found.risk(0.08)[0]
    assert found.risk(0.0)[0] == 0


def test_the_risk_is_the_mean_over_the_posterior():
    found = known(2, 0.4)
    rng = np.random.default_rng(5)
    is_first = rng.random(400_000) < found.weights[0, 0]
    which = np.where(is_first, 0, 1)
    drawn = rng.gamma(found.shapes[0][which], 1 / found.rates[0][which])
    assert found.risk(0.08)[0] == pytest.approx(
        np.mean(1 - np.exp(-drawn * 0.08)), abs=0.001
    )


@pytest.mark.parametrize("shape", [0.3, 1.0, 4.0, 10.0])
def test_the_likelihood_equals_scipys_where_that_is_accurate(shape):
    returned = np.array([0, 1, 5, 30])
    expected = np.array([0.01, 0.5, 4.0, 50.0])
    ours = log_likelihood(returned, expected, shape=shape, rate=1.3)
    theirs = nbinom.logpmf(returned, shape, 1.3 / (1.3 + expected))
    assert ours == pytest.approx(theirs, rel=1e-9)
