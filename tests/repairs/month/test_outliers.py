"""What is to blame: the delivery, or the fixes it was used for."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from repairs.comebacks.estimate.posterior import posterior
from repairs.comebacks.estimate.prior import Prior
from repairs.comebacks.watch import NOT_OBSERVED
from repairs.month import outliers
from repairs.month.frame import Observations
from repairs.month.outliers import group_effects

WITHIN = 90
HAZARD = np.linspace(0.0, 0.12, WITHIN + 1)
TWO_GROUPS = Prior((1.5, 3.0), (5.0, 1.0), (0.8, 0.2))


def shop(*stretches):
    """A shop of series of repairs: pair, delivery (or None), repairs, comebacks."""
    pair, delivery, t, d = [], [], [], []
    for of_pair, of_delivery, repairs, back in stretches:
        pair += [of_pair] * repairs
        delivery += [of_delivery] * repairs
        t += [40] * back + [WITHIN] * (repairs - back)
        d += [1] * back + [0] * (repairs - back)
    pair, t, d = (np.array(x, dtype=np.int64) for x in (pair, t, d))
    pairs = int(pair.max()) + 1
    today = date(2026, 6, 1)
    handed_over = np.full(len(pair), today.toordinal() - WITHIN)
    seen = Observations.of(
        pd.DataFrame(
            {
                "repair": np.arange(len(pair)),
                "pair": pair,
                "handed_over": handed_over,
                "out_of_use": NOT_OBSERVED,
                "came_back": np.where(d == 1, handed_over + t, NOT_OBSERVED),
            }
        ),
        as_of=today,
        within=WITHIN,
        hazard=HAZARD,
        posterior=posterior(
            TWO_GROUPS,
            comebacks=np.bincount(pair, weights=d, minlength=pairs).astype(np.int64),
            expected=np.bincount(pair, weights=HAZARD[t], minlength=pairs),
        ),
    )
    row = np.array([n for n, one in enumerate(delivery) if one is not None])
    group = np.array([one for one in delivery if one is not None], dtype=np.int64)
    return seen, row, group


def effects(*stretches, **how):
    seen, row, group = shop(*stretches)
    number = int(group.max(initial=-1)) + 1
    return group_effects(seen, row=row, group=group, groups=number, **how)


def good(first, count, *, pair=0):
    """Deliveries like their pair: one repair in forty comes back."""
    return [(pair, first + n, 20, n % 2) for n in range(count)]


def test_a_bad_delivery_is_found_though_it_raises_its_own_pairs_rate():
    result = effects(*good(0, 6), (0, 6, 12, 7))
    assert result.verdict[6] == outliers.TOO_MANY_COMEBACKS
    assert not (result.verdict[:6] == outliers.TOO_MANY_COMEBACKS).any()
    assert result.ratio[6] > 4
    plain = effects(*good(0, 6), (0, 6, 12, 7), max_rounds=0)
    assert result.probability[6] > plain.probability[6]
    assert result.expected[6] < plain.expected[6]


def test_a_good_delivery_that_went_into_a_bad_fix_is_not_blamed():
    # The fix comes back with every part that was ever used for it.
    bad_fix = [(1, 6 + n, 12, 5) for n in range(4)]
    result = effects(*good(0, 6), *bad_fix)
    assert not (result.verdict == outliers.TOO_MANY_COMEBACKS).any()
    assert result.comebacks[6] == 5
    assert result.expected[6] > 3
    assert result.ratio[6] < 1.6


def test_a_fix_with_one_delivery_only_takes_the_blame_itself():
    result = effects(*good(0, 6), (1, 6, 20, 9))
    assert result.verdict[6] != outliers.TOO_MANY_COMEBACKS
    assert result.expected[6] > 4


def test_one_comeback_or_few_repairs_are_not_enough():
    result = effects(*good(0, 6), (0, 6, 1, 1), (0, 7, 3, 0))
    assert result.verdict[6] == outliers.NOT_ENOUGH_REPAIRS
    assert result.verdict[7] == outliers.NOT_ENOUGH_REPAIRS


def test_few_repairs_are_not_enough_and_many_are_as_expected():
    result = effects((0, 0, 3, 0), (1, 1, 400, 12), (1, None, 400, 12))
    assert result.verdict.tolist() == [
        outliers.NOT_ENOUGH_REPAIRS,
        outliers.AS_EXPECTED,
    ]


def test_without_comebacks_no_group_is_judged():
    result = effects((0, 0, 5, 0), (1, 1, 4, 0))
    assert result.verdict.tolist() == [outliers.NOT_ENOUGH_REPAIRS] * 2
    assert result.comebacks.tolist() == [0, 0]
    assert np.isfinite(result.high).all()


def test_without_rounds_a_delivery_is_compared_with_its_pairs():
    seen, row, group = shop(*good(0, 4), (1, 2, 10, 3))
    ratio = seen.posterior.weights * seen.posterior.shapes / seen.posterior.rates
    each = ratio.sum(axis=1)[seen.repairs["pair"]] * HAZARD[seen.repairs["days"]]
    result = group_effects(seen, row=row, group=group, groups=4, max_rounds=0)
    assert result.expected.to_numpy() == pytest.approx(
        np.bincount(group, weights=each[row])
    )


def test_a_repair_with_two_deliveries_counts_for_both():
    seen, row, group = shop(*good(0, 4))
    both_rows = np.concatenate([row, row[:20]])
    both_groups = np.concatenate([group, np.full(20, 4)])
    result = group_effects(seen, row=both_rows, group=both_groups, groups=5)
    assert result.repairs.tolist() == [20] * 5
    assert result.comebacks[4] == result.comebacks[0]


def test_good_deliveries_are_rarely_blamed():
    rng = np.random.default_rng(7)
    blamed = 0
    for _ in range(40):
        stretches, number = [], 0
        for pair in range(15):
            ratio = rng.gamma(3.0) if rng.random() < 0.2 else rng.gamma(1.5, 0.2)
            risk = -np.expm1(-ratio * HAZARD[-1])
            for _ in range(4):
                repairs = int(rng.integers(3, 20))
                back = int(rng.binomial(repairs, risk))
                stretches.append((pair, number, repairs, back))
                number += 1
        blamed += int(
            (effects(*stretches).verdict == outliers.TOO_MANY_COMEBACKS).sum()
        )
    assert blamed <= 2  # of 2400 deliveries
