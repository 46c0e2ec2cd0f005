"""The list price: labour, parts and fees by the shop's rates."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.pricing.list_price import (
    Fee,
    Rates,
    Wanted,
    Work,
    fee_line,
    labour_lines,
    labour_price,
    list_total,
    part_line,
)
from billing.pricing.shares import net_shares
from shopdesk.money import Line
from shopdesk.shop.markups import Markups

RATES = Rates(
    hour=Decimal(68),
    minimum_minutes=15,
    step=Decimal("0.50"),
    markups=Markups(Decimal(60)),
)


@pytest.mark.parametrize(
    ("minutes", "price"),
    [(60, "68"), (45, "51"), (50, "56.5"), (7, "8.0"), (0, "0")],
)
def test_labour_is_the_rate_to_the_shops_step(minutes, price):
    # 50 minutes: 56.67, to the nearest half 56.50; 7 minutes: 7.93, so 8.00.
    assert labour_price(minutes, rates=RATES) == Decimal(price)


def test_the_least_minutes_hold_for_all_fixes_together():
    short = labour_lines([Work("tape", 5), Work("glue", 4)], rates=RATES)
    assert [line.price for line in short] == [Decimal("12.5"), Decimal("4.5")]
    long = labour_lines([Work("tape", 5), Work("board", 60)], rates=RATES)
    assert [line.price for line in long] == [Decimal("5.5"), Decimal(68)]


@pytest.mark.parametrize(
    ("cost", "fixed", "price"),
    [("2.50", None, "4.00"), ("2.50", "9", "9"), (None, "9", "9"), (None, None, None)],
)
def test_a_part_has_its_fixed_price_or_its_cost_with_markup(cost, fixed, price):
    wanted = Wanted("socket", 2, cost and Decimal(cost), fixed and Decimal(fixed))
    assert part_line(wanted, rates=RATES).price == (price and Decimal(price))


@pytest.mark.parametrize(("places", "price"), [(0, "57"), (2, "56.67"), (3, "56.667")])
def test_a_price_has_the_decimals_of_its_currency(places, price):
    rates = Rates(Decimal(68), 15, Decimal(0), Markups(Decimal(60)), places)
    assert labour_price(50, rates=rates) == Decimal(price)


def test_the_total_is_that_of_all_lines():
    lines = [
        *labour_lines([Work("mend", 45)], rates=RATES),
        part_line(Wanted("socket", 2, Decimal("2.50")), rates=RATES),
        fee_line(Fee("parcel", Decimal(9))),
    ]
    assert list_total(lines, places=2) == 68


@given(
    prices=st.lists(st.integers(0, 10**7), min_size=1, max_size=6),
    places=st.sampled_from([0, 2, 3]),
    include=st.booleans(),
)
def test_what_the_repairs_brought_in_adds_up_to_the_bill(prices, places, include):
    from shopdesk.money import totals

    lines = [
        (n % 3 + 1, Line(Decimal(1), Decimal(p).scaleb(-places), Decimal(20)))
        for n, p in enumerate(prices)
    ]
    net = totals(
        [line for _, line in lines], places=places, prices_include_tax=include
    ).net
    shares = net_shares(
        lines, repairs=[1, 2, 3], net=net, places=places, prices_include_tax=include
    )
    assert sum(shares.values()) == net
