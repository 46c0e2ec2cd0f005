from decimal import Decimal

import numpy as np
import pytest

from repairs.comebacks.compare import each_against_each
from repairs.comebacks.posterior import posterior
from repairs.comebacks.prior import Prior
from repairs.comebacks.watch import counted
from repairs.comebacks.worth import Rates, Taken, usual_worth
from shopdesk.shop.markups import Markups

RATES = Rates(
    price_of_hour=Decimal(68),
    cost_of_hour=Decimal(34),
    least_minutes=15,
    step=Decimal("0.50"),
    markups=Markups(Decimal(60)),
    places=2,
)


def test_a_fix_is_charged_by_minutes_and_parts_and_costs_what_these_cost():
    worth = usual_worth(45, [Taken(2, Decimal("2.50"))], rates=RATES)
    assert worth.price == Decimal("59.00")  # 51.00 and twice 4.00
    assert worth.cost == Decimal("30.50")  # 25.50 and twice 2.50
    assert worth.is_whole


def test_the_least_minutes_are_charged_and_only_the_real_ones_cost():
    worth = usual_worth(6, [], rates=RATES)
    assert (worth.price, worth.cost) == (Decimal("17.00"), Decimal("3.40"))


def test_a_part_at_a_fixed_price_needs_no_markup():
    worth = usual_worth(60, [Taken(1, Decimal(10), fixed=Decimal(12))], rates=RATES)
    assert (worth.price, worth.cost) == (Decimal(80), Decimal(44))


def test_a_part_that_never_came_in_is_said_to_be_missing_from_the_sum():
    worth = usual_worth(60, [Taken(1, None)], rates=RATES)
    assert (worth.price, worth.cost, worth.is_whole) == (68, 34, False)
    assert usual_worth(60, [Taken(1, None, fixed=Decimal(5))], rates=RATES).is_whole


def test_every_two_fixes_are_compared_once():
    number = np.repeat([0, 1, 2], 12)
    d = np.concatenate([[1] * 8 + [0] * 4, [0] * 12, [1] * 4 + [0] * 8])
    t = np.where(d == 1, 10, 90)
    counts = counted(number, t=t, d=d, pairs=3, within=90)
    known = posterior(
        Prior((2.0,), (2.0,), (1.0,)),
        returned=counts.returned,
        expected=np.array([4.0, 4.0, 4.0]),
    )
    found = each_against_each(known, counts=counts)
    assert [(f.first, f.second) for f in found] == [(0, 1), (0, 2), (1, 2)]
    assert found[0].chance < 0.01
    assert found[0].p_said == "below 0.001"
    assert found[1].chance == pytest.approx(0.13, abs=0.05)
    assert float(found[1].p_said) > 0.05
