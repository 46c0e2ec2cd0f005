"""From the cost of a part to its price."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.shop.models import MarkupTier
from shopdesk.shop.price_list import Markups
from tests import make

TIERS = ((Decimal(10), Decimal(40)), (Decimal(100), Decimal(25)))
COSTS = st.decimals("0", "5000", places=4)


@pytest.mark.parametrize(
    ("cost", "price"),
    [
        ("0", "0"),
        ("0.035", "0.06"),  # 0.056
        ("9.99", "15.98"),  # 15.984
        ("10", "14.00"),  # the tier begins with its own figure
        ("99.99", "139.99"),  # 139.986
        ("100", "125.00"),
        ("2500", "3125.00"),
    ],
)
def test_the_whole_cost_bears_the_percent_of_its_tier(cost, price):
    markups = Markups(Decimal(60), TIERS)
    assert markups.price(Decimal(cost)) == Decimal(price)


@pytest.mark.parametrize(("places", "price"), [(0, "2"), (2, "1.98"), (3, "1.975")])
def test_a_price_has_the_decimals_of_the_currency_and_halves_go_up(places, price):
    assert Markups(Decimal(58), places=places).price(Decimal("1.25")) == Decimal(price)


@given(cost=COSTS, places=st.sampled_from([0, 2, 3]))
def test_a_part_is_never_sold_below_its_cost(cost, places):
    half = Decimal(5).scaleb(-places - 1)
    assert Markups(Decimal(60), TIERS, places).price(cost) >= cost - half


@given(one=COSTS, other=COSTS)
def test_within_a_tier_the_dearer_part_has_the_higher_price(one, other):
    markups = Markups(Decimal(60), TIERS)
    low, high = sorted([one, other])
    if markups.on(low) == markups.on(high):
        assert markups.price(low) <= markups.price(high)


def test_the_shop_knows_its_tiers_from_the_lowest_up(db):
    shop = make.shop(markup=Decimal(60), currency="KWD")
    for least, percent in reversed(TIERS):
        MarkupTier.objects.create(starts_at=least, percent=percent)
    assert shop.markups() == Markups(Decimal(60), TIERS, places=3)
