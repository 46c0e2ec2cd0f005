import numpy as np
import pytest

from repairs.comebacks.estimate import verdict


def word(*, over, comebacks=5, width=0.2, is_over_alone=False, verdict_confidence=0.9):
    return verdict.assign_verdicts(
        comebacks=np.array([comebacks]),
        probability_above=np.array([over]),
        own_width=np.array([width]),
        is_own_risk_above=np.array([is_over_alone]),
        confidence=verdict_confidence,
    )[0]


@pytest.mark.parametrize(
    ("over", "text"),
    [
        (0.95, verdict.TOO_MANY_COMEBACKS),
        (0.935, verdict.TOO_MANY_COMEBACKS),
        (0.92, verdict.BORDERLINE),  # to accuse takes a little more than to acquit
        (0.5, verdict.BORDERLINE),
        (0.11, verdict.BORDERLINE),
        (0.1, verdict.RELIABLE),
        (0.0, verdict.RELIABLE),
    ],
)
def test_a_verdict_needs_its_probability(over, text):
    assert word(over=over) == text


def test_more_confidence_needs_more_evidence_for_a_verdict():
    assert word(over=0.97, verdict_confidence=0.95) == verdict.TOO_MANY_COMEBACKS
    assert word(over=0.96, verdict_confidence=0.95) == verdict.BORDERLINE


def test_one_comeback_is_not_enough_for_a_verdict():
    assert word(over=0.99, comebacks=1) == verdict.BORDERLINE
    assert word(over=0.99, comebacks=2) == verdict.TOO_MANY_COMEBACKS


def test_a_wide_own_range_is_never_reliable():
    assert word(over=0.0, width=0.6) == verdict.NOT_ENOUGH_REPAIRS
    assert word(over=0.99, width=0.6) == verdict.TOO_MANY_COMEBACKS


def test_an_own_rate_above_the_limit_is_never_reliable():
    assert word(over=0.05, is_over_alone=True) == verdict.BORDERLINE
    assert word(over=0.99, is_over_alone=True) == verdict.TOO_MANY_COMEBACKS
    assert word(over=0.05, width=0.6, is_over_alone=True) == verdict.NOT_ENOUGH_REPAIRS
