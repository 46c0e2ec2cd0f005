"""The price that bears its comebacks."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.pricing.comeback_price import (
    PricingRules,
    RepairCost,
    allocate,
    margin_of,
    price_option,
    probability_of_any,
)


def amounts(most="5000", places=2):
    return st.decimals(0, Decimal(most), places=places)


chances = st.decimals(0, 1, places=4)
mends = st.builds(RepairCost, st.integers(0, 3000), amounts(), chances)
bearings = st.builds(
    PricingRules,
    hourly_cost=amounts("300"),
    parcel=amounts("50"),
    margin=st.decimals(0, 90, places=1),
    tax=st.sampled_from([Decimal(0), Decimal(19), Decimal("7.7")]),
    step=st.sampled_from([Decimal(0), Decimal("0.05"), Decimal("0.5"), Decimal(10)]),
    places=st.sampled_from([0, 2, 3]),
)


def test_a_price_by_hand():
    # 60 minutes at 30 an hour, parts 10; one in ten back; a parcel of 9.
    price = price_option(
        [RepairCost(60, Decimal(10), Decimal("0.1"))],
        fees=Decimal(25),
        list_price=Decimal(70),
        by=PricingRules(hourly_cost=Decimal(30), parcel=Decimal(9), margin=Decimal(20)),
    )
    assert price.rework_cost == 49 and price.comeback_allowance == Decimal("4.9")
    assert price.own_cost == 65
    # (65 + 4.90) / 0.8 = 87.375
    assert price.min_price == price.suggested == Decimal("87.38")
    assert price.is_raised and price.raised_by == Decimal("17.38")


def test_labour_is_raised_by_whole_steps():
    price = price_option(
        [RepairCost(60, Decimal(10), Decimal("0.1"))],
        fees=Decimal(25),
        list_price=Decimal("70.30"),
        by=PricingRules(Decimal(30), Decimal(9), Decimal(20), step=Decimal("0.50")),
    )
    assert price.raised_by == Decimal("17.50")


def test_a_list_price_that_bears_it_stays():
    price = price_option(
        [RepairCost(10, Decimal(0), Decimal("0.02"))],
        fees=Decimal(0),
        list_price=Decimal(40),
        by=PricingRules(Decimal(30), Decimal(0), Decimal(15)),
    )
    assert price.suggested == 40 and not price.is_raised


@given(st.lists(mends, max_size=4), amounts(), amounts(), bearings)
def test_the_floor_keeps_the_target_margin(repairs, fees, list_price, by):
    price = price_option(repairs, fees=fees, list_price=list_price, by=by)
    net = price.exact_min_price / (1 + by.tax / 100)
    left = net - price.own_cost - price.comeback_allowance
    assert abs(left - net * by.margin / 100) < Decimal("1e-9")
    assert price.min_price >= price.exact_min_price
    assert price.suggested >= price.min_price
    assert price.suggested >= list_price
    assert price.min_price == round(price.min_price, by.places)


@given(mends, chances, amounts(), bearings)
def test_a_likelier_comeback_never_makes_it_cheaper(one, chance, list_price, by):
    low, high = sorted([one.chance, chance])
    cheap, expensive = (
        price_option(
            [RepairCost(one.minutes, one.parts, chance)],
            fees=Decimal(0),
            list_price=list_price,
            by=by,
        )
        for chance in (low, high)
    )
    assert cheap.comeback_allowance <= expensive.comeback_allowance
    assert cheap.suggested <= expensive.suggested


@given(mends, amounts(), amounts(), bearings)
def test_dearer_parts_never_make_it_cheaper(one, more, list_price, by):
    cheap, expensive = (
        price_option(
            [RepairCost(one.minutes, parts, one.chance)],
            fees=Decimal(0),
            list_price=list_price,
            by=by,
        )
        for parts in (one.parts, one.parts + more)
    )
    assert cheap.suggested <= expensive.suggested


@given(st.lists(mends, min_size=1, max_size=5), bearings)
def test_comeback_allowances_of_several_faults_add_up(repairs, by):
    def of(some):
        return price_option(some, fees=Decimal(0), list_price=Decimal(0), by=by)

    assert of(repairs).comeback_allowance == sum(
        (of([one]).comeback_allowance for one in repairs), Decimal(0)
    )
    assert max(one.chance for one in repairs) <= of(repairs).chance <= 1


def test_one_of_two_coins_comes_up():
    assert probability_of_any([Decimal("0.5"), Decimal("0.5")]) == Decimal("0.75")
    assert probability_of_any([]) == 0


def test_the_margin_is_of_the_price_before_tax():
    assert margin_of(Decimal(119), cost=Decimal(80), tax=Decimal(19)) == 20
    assert margin_of(Decimal(0), cost=Decimal(80)) is None


@given(
    amounts(places=3),
    st.lists(amounts(), max_size=5),
    st.sampled_from([0, 2, 3]),
)
def test_shares_add_up(amount, by, places):
    assert sum(allocate(amount, by=by, places=places)) == (amount if by else 0)


@pytest.mark.parametrize("by", [[Decimal(1), Decimal(3)]])
def test_shares_are_as_large_as_what_they_go_by(by):
    assert allocate(Decimal(8), by=by, places=2) == [2, 6]


def test_without_weights_the_shares_are_equal():
    assert allocate(Decimal(9), by=[Decimal(0)] * 3, places=2) == [3, 3, 3]
