import numpy as np
import pytest

from repairs.comebacks import verdict


def word(*, over, returned=5, width=0.2, is_over_alone=False, verdict_confidence=0.9):
    return verdict.verdicts(
        returned=np.array([returned]),
        over_limit=np.array([over]),
        alone_width=np.array([width]),
        is_over_alone=np.array([is_over_alone]),
        verdict_confidence=verdict_confidence,
    )[0]


@pytest.mark.parametrize(
    ("over", "said"),
    [
        (0.95, verdict.COMES_BACK),
        (0.935, verdict.COMES_BACK),
        (0.92, verdict.BETWEEN),  # to accuse takes a little more than to acquit
        (0.5, verdict.BETWEEN),
        (0.11, verdict.BETWEEN),
        (0.1, verdict.HOLDS),
        (0.0, verdict.HOLDS),
    ],
)
def test_a_word_is_said_only_when_it_is_sure_enough(over, said):
    assert word(over=over) == said


def test_a_surer_shop_accuses_later():
    assert word(over=0.97, verdict_confidence=0.95) == verdict.COMES_BACK
    assert word(over=0.96, verdict_confidence=0.95) == verdict.BETWEEN


def test_one_comeback_accuses_nobody():
    assert word(over=0.99, returned=1) == verdict.BETWEEN
    assert word(over=0.99, returned=2) == verdict.COMES_BACK


def test_what_its_own_repairs_leave_open_is_never_said_to_hold():
    assert word(over=0.0, width=0.6) == verdict.TOO_FEW
    assert word(over=0.99, width=0.6) == verdict.COMES_BACK


def test_what_came_back_more_often_than_the_limit_is_never_said_to_hold():
    assert word(over=0.05, is_over_alone=True) == verdict.BETWEEN
    assert word(over=0.99, is_over_alone=True) == verdict.COMES_BACK
    assert word(over=0.05, width=0.6, is_over_alone=True) == verdict.TOO_FEW
