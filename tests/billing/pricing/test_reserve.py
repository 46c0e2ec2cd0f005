"""The reserve, the floor and the margin: a price that bears its comebacks."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.pricing.reserve import Mend, raised, worth

D = Decimal


def of(*mends, fees=0, margin=15, places=2):
    return worth(
        mends,
        cost_rate=D(34),
        parcel=D(9),
        fees=D(fees),
        target_margin=D(margin),
        places=places,
    )


def test_by_hand():
    """45 min at 34 an hour: 25.50, parts 5.00, back in 1 of 8, a parcel of 9.00.

    Redo 39.50, reserve 4.9375 → 4.94; floor (30.50 + 4.94) / 0.85 = 41.694… → 41.70.
    """
    found = of(Mend(D(45), D(5), D("0.125")))
    assert (found.cost, found.redo_cost) == (D("30.50"), D("39.50"))
    assert (found.reserve, found.floor) == (D("4.94"), D("41.70"))
    assert found.margin(D(100)) == D("0.6456")  # (100 − 30.50 − 4.94) / 100
    assert found.margin(D(0)) is None


def test_a_stopgap_and_a_lasting_fix_each_bear_their_own():
    lasting = of(Mend(D(60), D(10), D("0.02")))
    stopgap = of(Mend(D(20), D(0), D("0.40")))
    assert lasting.reserve == D("1.06") and stopgap.reserve == D("8.13")
    assert stopgap.reserve / stopgap.cost > lasting.reserve / lasting.cost


def test_several_faults_add_up():
    one, other = Mend(D(45), D(5), D("0.1")), Mend(D(30), D(0), D("0.2"))
    both = of(one, other)
    assert both.cost == of(one).cost + of(other).cost
    assert both.reserve == of(one).reserve + of(other).reserve == sum(both.reserves)
    assert both.chance == 1 - D("0.9") * D("0.8")


amounts = st.decimals("0", "2000", places=2)
chances = st.decimals("0", "1", places=4)
mends = st.builds(Mend, st.decimals("0", "600", places=1), amounts, chances)
margins = st.decimals("0", "90", places=1)
decimals = st.sampled_from([0, 2, 3])


@given(mends, margins, amounts, decimals)
def test_at_the_floor_the_shop_keeps_its_margin_and_not_a_coin_less_would_do(
    mend, margin, fees, places
):
    found = of(mend, margin=margin, fees=fees, places=places)
    coin = D(1).scaleb(-places)
    kept = found.floor - found.cost - found.fees - found.reserve
    assert kept >= found.floor * margin / 100
    below = found.floor - coin
    assert below - found.cost - fees - found.reserve < below * margin / 100 or below < 0


@given(mends, chances, decimals)
def test_a_higher_chance_is_never_cheaper(mend, chance, places):
    low, high = sorted([mend.chance, chance])
    floors = [
        of(Mend(mend.minutes, mend.parts_cost, c), places=places).floor
        for c in (low, high)
    ]
    assert floors == sorted(floors)


@given(mends, amounts, decimals)
def test_dearer_parts_are_never_cheaper(mend, more, places):
    dearer = Mend(mend.minutes, mend.parts_cost + more, mend.chance)
    assert of(dearer, places=places).floor >= of(mend, places=places).floor


@given(mends, decimals)
def test_every_amount_has_the_decimals_of_the_currency(mend, places):
    found = of(mend, places=places)
    for amount in (found.cost, found.redo_cost, found.reserve, found.floor):
        assert amount == round(amount, places)


@given(amounts, st.decimals("-50", "50", places=2), st.sampled_from(["0", "0.5", "5"]))
def test_a_price_is_raised_to_the_next_step_and_no_further(price, by, step):
    new = raised(price, by=by, step=D(step), places=2)
    if by <= 0:
        assert new == price
    else:
        least = D(step) or D("0.01")
        assert price + by <= new < price + by + least and new % least == 0


def test_no_margin_is_aimed_at_and_a_chance_of_nought():
    assert of(Mend(D(60), D(0), D(0)), margin=0).floor == D("34.00")


@pytest.mark.parametrize("places", [0, 2, 3])
def test_nothing_to_do_costs_nothing(places):
    found = of(places=places)
    assert (found.cost, found.reserve, found.floor, found.chance) == (0, 0, 0, 0)
