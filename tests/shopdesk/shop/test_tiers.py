"""Markup tiers, as the owner enters them."""

from decimal import Decimal

import pytest

from shopdesk.shop.models import MarkupTier, Shop
from tests import make
from tests.shopdesk.shop.page import PAGE, as_typed


def add(client, starts_at, percent, **figures):
    told = as_typed(**figures)
    return client.post(
        PAGE, told | {"tier-starts_at": starts_at, "tier-percent": percent}
    )


def test_a_tier_is_added_and_taken_away(client, owner):
    make.shop()
    assert add(client, "10", "40").status_code == 302
    tier = MarkupTier.objects.get()
    assert (tier.starts_at, tier.percent) == (10, 40)
    assert Shop.current().markups().price(Decimal(10)) == Decimal("14.00")
    answer = client.post(PAGE, as_typed() | {"then": f"tier {tier.pk}"})
    assert answer["Location"] == f"{PAGE}?at=parts#parts"
    assert not MarkupTier.objects.exists()
    client.post(PAGE, as_typed() | {"then": f"tier {tier.pk}"})  # twice is once


def test_the_page_says_where_a_higher_cost_gives_a_lower_price(client, owner):
    make.shop(markup=Decimal(60))
    MarkupTier.objects.create(starts_at=Decimal(10), percent=Decimal(40))
    page = client.get(PAGE).content.decode()
    assert "higher cost, lower price" in page
    assert "€9.99 is sold for €15.98, €10.00 for €14.00" in page


@pytest.mark.parametrize(
    ("starts_at", "percent", "wrong"),
    [
        ("0", "40", "starts_at"),
        ("-1", "40", "starts_at"),
        ("1e3", "40", "starts_at"),
        ("10.005", "40", "starts_at"),
        ("9" * 400, "40", "starts_at"),
        ("10", "", "percent"),
        ("10", "1001", "percent"),
        ("10", "-5", "percent"),
        ("10", "NaN", "percent"),
        ("", "5", "starts_at"),
        ("20", "40", "starts_at"),  # there is one
    ],
)
def test_a_tier_that_makes_no_sense_is_refused_beside_its_box(
    client, owner, starts_at, percent, wrong
):
    make.shop()
    MarkupTier.objects.create(starts_at=Decimal(20), percent=Decimal(30))
    answer = add(client, starts_at, percent, name="Fern Lane")
    assert list(answer.context["tier_form"].errors) == [wrong]
    assert "Fern Lane" in answer.content.decode()
    assert MarkupTier.objects.count() == 1
    assert Shop.objects.get().name != "Fern Lane"


@pytest.mark.parametrize(("currency", "cost"), [("JPY", "10"), ("KWD", "0.005")])
def test_a_tier_has_the_decimals_of_the_currency(client, owner, currency, cost):
    make.shop(currency=currency, rounding_step=Decimal(0))
    assert add(client, cost, "40").status_code == 302
    refused = add(client, cost + ("5" if "." in cost else ".5"), "40")
    assert list(refused.context["tier_form"].errors) == ["starts_at"]
