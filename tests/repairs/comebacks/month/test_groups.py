"""Who is to blame: the delivery, or the fixes it went into."""

from datetime import date

import numpy as np
import pytest

from repairs.comebacks.month import groups
from repairs.comebacks.month.groups import explained
from repairs.comebacks.month.seen import Known, Seen
from repairs.comebacks.posterior import posterior
from repairs.comebacks.prior import Prior

WITHIN = 90
HAZARD = np.linspace(0.0, 0.12, WITHIN + 1)
TWO_GROUPS = Prior((1.5, 3.0), (5.0, 1.0), (0.8, 0.2))


def shop(*stretches):
    """A shop of stretches of repairs: pair, delivery (or None), repairs, comebacks."""
    pair, delivery, t, d = [], [], [], []
    for of_pair, of_delivery, repairs, back in stretches:
        pair += [of_pair] * repairs
        delivery += [of_delivery] * repairs
        t += [40] * back + [WITHIN] * (repairs - back)
        d += [1] * back + [0] * (repairs - back)
    pair, t, d = (np.array(x, dtype=np.int64) for x in (pair, t, d))
    none = np.zeros(len(pair), dtype=np.int64)
    seen = Seen(
        date(2026, 6, 1), WITHIN, np.arange(len(pair)), pair, none, none, none, t, d
    )
    pairs = int(pair.max()) + 1
    known = Known(
        HAZARD,
        posterior(
            TWO_GROUPS,
            returned=np.bincount(pair, weights=d, minlength=pairs).astype(np.int64),
            expected=np.bincount(pair, weights=HAZARD[t], minlength=pairs),
        ),
    )
    row = np.array([n for n, one in enumerate(delivery) if one is not None])
    group = np.array([one for one in delivery if one is not None], dtype=np.int64)
    return seen, known, row, group


def judged(*stretches, **how):
    seen, known, row, group = shop(*stretches)
    number = int(group.max(initial=-1)) + 1
    return explained(seen, known, row=row, group=group, groups=number, **how)


def good(first, count, *, pair=0):
    """Deliveries that do as their pair does, one repair in forty coming back."""
    return [(pair, first + n, 20, n % 2) for n in range(count)]


def test_a_bad_delivery_is_found_though_it_makes_its_own_pair_look_bad():
    found = judged(*good(0, 6), (0, 6, 12, 7))
    assert found.words[6] == groups.TOO_OFTEN
    assert not (found.words[:6] == groups.TOO_OFTEN).any()
    assert found.ratio[6] > 4
    plain = judged(*good(0, 6), (0, 6, 12, 7), rounds=0)
    assert found.over[6] > plain.over[6]
    assert found.expected[6] < plain.expected[6]


def test_a_good_delivery_that_went_into_a_bad_fix_is_not_blamed():
    # The fix comes back with every part that was ever used for it.
    bad_fix = [(1, 6 + n, 12, 5) for n in range(4)]
    found = judged(*good(0, 6), *bad_fix)
    assert not (found.words == groups.TOO_OFTEN).any()
    assert found.returned[6] == 5
    assert found.expected[6] > 3
    assert found.ratio[6] < 1.6


def test_a_fix_only_ever_done_with_one_delivery_takes_the_blame_itself():
    found = judged(*good(0, 6), (1, 6, 20, 9))
    assert found.words[6] != groups.TOO_OFTEN
    assert found.expected[6] > 4


def test_one_comeback_or_a_handful_of_repairs_accuses_nobody():
    found = judged(*good(0, 6), (0, 6, 1, 1), (0, 7, 3, 0))
    assert found.words[6] == groups.TOO_FEW
    assert found.words[7] == groups.TOO_FEW


def test_few_that_held_are_too_few_to_tell_and_many_are_as_expected():
    found = judged((0, 0, 3, 0), (1, 1, 400, 12), (1, None, 400, 12))
    assert found.words.tolist() == [groups.TOO_FEW, groups.AS_EXPECTED]


def test_nothing_seen_is_nothing_known():
    found = judged((0, 0, 5, 0), (1, 1, 4, 0))
    assert found.words.tolist() == [groups.TOO_FEW] * 2
    assert found.returned.tolist() == [0, 0]
    assert np.isfinite(found.high).all()


def test_without_rounds_a_delivery_is_set_against_its_pairs_as_they_are():
    seen, known, row, group = shop(*good(0, 4), (1, 2, 10, 3))
    ratio = known.posterior.weights * known.posterior.shapes / known.posterior.rates
    each = ratio.sum(axis=1)[seen.pair] * HAZARD[seen.t]
    found = explained(seen, known, row=row, group=group, groups=4, rounds=0)
    assert found.expected == pytest.approx(np.bincount(group, weights=each[row]))


def test_a_repair_that_used_two_deliveries_counts_for_both():
    seen, known, row, group = shop(*good(0, 4))
    both_rows = np.concatenate([row, row[:20]])
    both_groups = np.concatenate([group, np.full(20, 4)])
    found = explained(seen, known, row=both_rows, group=both_groups, groups=5)
    assert found.repairs.tolist() == [20] * 5
    assert found.returned[4] == found.returned[0]


def test_good_deliveries_are_hardly_ever_blamed():
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
        blamed += int((judged(*stretches).words == groups.TOO_OFTEN).sum())
    assert blamed <= 2  # of 2400 deliveries
