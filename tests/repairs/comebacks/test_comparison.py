import numpy as np
import pytest

from repairs.comebacks.estimate.kaplan_meier import log_rank
from repairs.comebacks.estimate.posterior import Posterior, posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.watch import count_exits

TWO = Prior((4.0, 4.0), (16.0, 0.8), (0.8, 0.2))
PAIRS = posterior(
    TWO, comebacks=np.array([1, 4, 0]), expected=np.array([2.0, 1.0, 0.1])
)


def test_the_probability_to_be_better_equals_simulation():
    rng = np.random.default_rng(1)

    def sample(row):
        component = (rng.random(500_000) > PAIRS.weights[row, 0]).astype(int)
        return rng.gamma(PAIRS.shapes[row][component], 1 / PAIRS.rates[row][component])

    for first, second in [(0, 1), (1, 2), (2, 0)]:
        probability = PAIRS.probability_better(first, second)
        assert probability == pytest.approx(
            np.mean(sample(first) < sample(second)), abs=0.004
        )


def test_one_of_two_is_better():
    probability = PAIRS.probability_better(0, 1)
    opposite = PAIRS.probability_better(1, 0)
    assert probability + opposite == pytest.approx(1)
    assert probability > 0.9


def test_a_fix_compared_with_itself_is_even():
    assert PAIRS.probability_better(2, 2) == pytest.approx(0.5)


def test_two_exponentials_compare_as_their_rates():
    pair = Posterior(
        shapes=np.ones((2, 1)), rates=np.array([[3.0], [1.0]]), weights=np.ones((2, 1))
    )
    assert pair.probability_better(0, 1) == pytest.approx(0.75)


def test_log_rank_without_comebacks_is_zero():
    counts = count_exits(
        np.array([0, 1]),
        days=np.array([9, 9]),
        is_event=np.array([0, 0]),
        pairs=2,
        within=9,
    )
    assert (log_rank(counts).statistic, log_rank(counts).p_value) == (0, 1)


def test_log_rank_takes_two_groups():
    with pytest.raises(ValueError, match="two groups"):
        log_rank(
            count_exits(
                np.array([0]),
                days=np.array([1]),
                is_event=np.array([1]),
                pairs=1,
                within=9,
            )
        )
