"""The plain method finds one group of fixes or two, as the data have it."""

import numpy as np
import pytest

from repairs.comebacks.estimate.prior import DEFAULT_PRIOR, FITTED_ONE
from tests.benchmarks.plain import (
    FITTED_TWO,
    TOO_SMALL_FOR_TWO,
    fit_prior,
    two_gammas,
)


def test_two_groups_are_recovered():
    rng = np.random.default_rng(11)
    expected = rng.gamma(1.0, 2.0, size=2000)
    is_stopgap = rng.random(2000) < 0.2
    ratio = np.where(is_stopgap, rng.gamma(6, 0.5, 2000), rng.gamma(6, 0.05, 2000))
    returned = rng.poisson(ratio * expected)
    found = fit_prior(returned, expected)
    assert found.weights == pytest.approx((0.8, 0.2), abs=0.03)
    assert found.means == pytest.approx((0.3, 3.0), rel=0.1)
    assert found.log_likelihood == two_gammas(returned, expected).log_likelihood


def test_the_fit_keeps_its_bounds_and_order():
    rng = np.random.default_rng(3)
    expected = rng.gamma(1.0, 1.0, size=300)
    returned = rng.poisson(rng.gamma(2.0, 0.5, 300) * expected)
    found = two_gammas(returned, expected)
    assert found.means[0] <= found.means[1]
    assert all(0.22 <= shape <= 10.0 + 1e-9 for shape in found.shapes)


def test_pairs_in_two_clear_groups_are_fitted_by_two():
    comebacks = np.array([1] * 28 + [10] * 4)
    found = fit_prior(comebacks, np.full(32, 2.0))
    assert found.basis == FITTED_TWO
    assert found.means[0] < 1 < found.means[1]


def test_similar_pairs_are_fitted_by_one_group():
    found = fit_prior(np.full(40, 2), np.full(40, 2.0))
    assert (found.basis, len(found.shapes)) == (FITTED_ONE, 1)


def test_few_pairs_are_too_few_for_two_groups():
    found = fit_prior(np.array([2, 0, 4]), np.array([2.0, 0.5, 2.0]))
    assert (found.basis, len(found.shapes)) == (TOO_SMALL_FOR_TWO, 1)


def test_without_comebacks_the_default_prior_is_taken():
    assert fit_prior(np.zeros(30, dtype=int), np.ones(30)) == DEFAULT_PRIOR
