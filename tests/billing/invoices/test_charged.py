"""What each repair brought in, from the lines of the invoice."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.invoices.charged import allocate_net
from shopdesk.money import TaxedLine, totals


def line(price, rate=20):
    return TaxedLine(Decimal(1), Decimal(price), Decimal(rate))


@pytest.mark.parametrize(
    ("include", "net", "shares"),
    [
        # 60.00 and 24.00 with 20 % in them are 50.00 and 20.00; the parcel, 12.00,
        # belongs to no repair and goes to the first.
        (True, "80.00", {1: Decimal("60.00"), 2: Decimal("20.00")}),
        (False, "96.00", {1: Decimal("72.00"), 2: Decimal("24.00")}),
    ],
)
def test_a_share_is_net_whether_or_not_prices_include_tax(include, net, shares):
    lines = [(1, line(60)), (2, line(24)), (None, line(12))]
    assert (
        allocate_net(
            lines,
            repairs=[1, 2],
            net=Decimal(net),
            places=2,
            prices_include_tax=include,
        )
        == shares
    )


def test_each_line_is_reduced_by_its_own_tax_rate():
    lines = [(1, line(60)), (2, line("11.90", 19)), (2, line(24)), (2, line(7, 0))]
    found = allocate_net(
        lines, repairs=[1, 2], net=Decimal(87), places=2, prices_include_tax=True
    )
    assert found == {1: Decimal("50.00"), 2: Decimal("37.00")}


def test_without_repairs_nothing_is_shared():
    lines = [(None, line(60))]
    assert (
        allocate_net(
            lines, repairs=[], net=Decimal(60), places=2, prices_include_tax=False
        )
        == {}
    )


@given(
    prices=st.lists(st.integers(0, 10**7), min_size=1, max_size=6),
    places=st.sampled_from([0, 2, 3]),
    include=st.booleans(),
)
def test_the_shares_of_all_repairs_add_up_to_the_net_total(prices, places, include):
    lines = [
        (n % 3 + 1, TaxedLine(Decimal(1), Decimal(p).scaleb(-places), Decimal(20)))
        for n, p in enumerate(prices)
    ]
    net = totals(
        [line for _, line in lines], places=places, prices_include_tax=include
    ).net
    shares = allocate_net(
        lines, repairs=[1, 2, 3], net=net, places=places, prices_include_tax=include
    )
    assert sum(shares.values()) == net
