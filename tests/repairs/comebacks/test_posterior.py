import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import gamma, nbinom

from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import Prior, log_likelihood

TWO = Prior((4.0, 4.0), (16.0, 0.8), (0.8, 0.2))


def posterior_of(comebacks, expected, model=TWO):
    return posterior(
        model, comebacks=np.array([comebacks]), expected=np.array([expected])
    )


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60))
def test_a_further_comeback_never_lowers_the_risk(comebacks, expected):
    less, more = (
        posterior_of(comebacks, expected),
        posterior_of(comebacks + 1, expected),
    )
    assert less.risk(0.08)[0] <= more.risk(0.08)[0]
    assert (
        less.probability_above(0.1, 0.08)[0]
        <= more.probability_above(0.1, 0.08)[0] + 1e-12
    )


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60))
def test_longer_follow_up_without_a_comeback_never_raises_the_risk(comebacks, expected):
    short, long = (
        posterior_of(comebacks, expected),
        posterior_of(comebacks, expected + 0.5),
    )
    assert long.risk(0.08)[0] <= short.risk(0.08)[0] + 1e-12


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 60), st.floats(1e-6, 60), st.floats(0.01, 0.98))
def test_the_quantile_inverts_the_distribution(comebacks, expected, p):
    pooled = posterior_of(comebacks, expected)
    ratio = pooled.quantile(p)[0]
    below = gamma.cdf(ratio, pooled.shapes[0], scale=1 / pooled.rates[0])
    assert float(below @ pooled.weights[0]) == pytest.approx(p, abs=1e-9)
    assert ratio <= pooled.quantile(p + 0.01)[0]


def test_the_risk_of_a_shorter_period_is_smaller():
    pooled = posterior_of(2, 0.4)
    assert pooled.risk(0.02)[0] < pooled.risk(0.08)[0]
    assert pooled.risk(0.0)[0] == 0


def test_the_risk_is_the_mean_over_the_posterior():
    pooled = posterior_of(2, 0.4)
    rng = np.random.default_rng(5)
    is_first = rng.random(400_000) < pooled.weights[0, 0]
    component = np.where(is_first, 0, 1)
    drawn = rng.gamma(pooled.shapes[0][component], 1 / pooled.rates[0][component])
    assert pooled.risk(0.08)[0] == pytest.approx(
        np.mean(1 - np.exp(-drawn * 0.08)), abs=0.001
    )


@pytest.mark.parametrize("shape", [0.3, 1.0, 4.0, 10.0])
def test_the_likelihood_equals_scipys_where_that_is_accurate(shape):
    comebacks = np.array([0, 1, 5, 30])
    expected = np.array([0.01, 0.5, 4.0, 50.0])
    log_probability = log_likelihood(comebacks, expected, shape=shape, rate=1.3)
    reference = nbinom.logpmf(comebacks, shape, 1.3 / (1.3 + expected))
    assert log_probability == pytest.approx(reference, rel=1e-9)
