"""The list price: labour, parts and fees at the shop's rates."""

from decimal import Decimal

import pytest

from shopdesk.shop.price_list import (
    ChargeRates,
    Markups,
    PartNeed,
    PlannedLabour,
    fee_line,
    fix_cost,
    labour_lines,
    labour_price,
    list_total,
    part_line,
)

RATES = ChargeRates(
    hourly_rate=Decimal(68),
    minimum_minutes=15,
    step=Decimal("0.50"),
    markups=Markups(Decimal(60)),
)


@pytest.mark.parametrize(
    ("minutes", "price"),
    [(60, "68"), (45, "51"), (50, "56.5"), (7, "8.0"), (0, "0")],
)
def test_labour_is_rounded_to_the_shops_step(minutes, price):
    # 50 minutes: 56.67, to the nearest half 56.50; 7 minutes: 7.93, so 8.00.
    assert labour_price(minutes, rates=RATES) == Decimal(price)


def test_the_minimum_minutes_apply_to_all_fixes_together():
    short = labour_lines(
        [PlannedLabour("tape", 5), PlannedLabour("glue", 4)], rates=RATES
    )
    assert [line.price for line in short] == [Decimal("12.5"), Decimal("4.5")]
    long = labour_lines(
        [PlannedLabour("tape", 5), PlannedLabour("board", 60)], rates=RATES
    )
    assert [line.price for line in long] == [Decimal("5.5"), Decimal(68)]


@pytest.mark.parametrize(
    ("cost", "fixed", "price"),
    [("2.50", None, "4.00"), ("2.50", "9", "9"), (None, "9", "9"), (None, None, None)],
)
def test_a_part_costs_its_fixed_price_or_cost_plus_markup(cost, fixed, price):
    wanted = PartNeed("socket", 2, cost and Decimal(cost), fixed and Decimal(fixed))
    assert part_line(wanted, rates=RATES).price == (price and Decimal(price))


@pytest.mark.parametrize(("places", "price"), [(0, "57"), (2, "56.67"), (3, "56.667")])
def test_a_price_has_the_decimals_of_its_currency(places, price):
    rates = ChargeRates(Decimal(68), 15, Decimal(0), Markups(Decimal(60)), places)
    assert labour_price(50, rates=rates) == Decimal(price)


def test_the_total_is_the_sum_of_all_lines():
    lines = [
        *labour_lines([PlannedLabour("mend", 45)], rates=RATES),
        part_line(PartNeed("socket", 2, Decimal("2.50")), rates=RATES),
        fee_line("parcel", Decimal(9)),
    ]
    assert list_total(lines, places=2) == 68


def cost_of(minutes, *parts):
    return fix_cost(minutes, parts, rates=RATES, hourly_cost=Decimal(34))


def test_a_fix_is_charged_and_costs_its_minutes_and_parts():
    found = cost_of(45, PartNeed("socket", 2, Decimal("2.50")))
    assert found.price == Decimal("59.00")  # 51.00 and twice 4.00
    assert found.cost == Decimal("30.50")  # 25.50 and twice 2.50
    assert found.is_whole


def test_minimum_minutes_are_charged_but_only_the_planned_ones_cost():
    found = cost_of(6)
    assert (found.price, found.cost) == (Decimal("17.00"), Decimal("3.40"))


def test_a_part_with_a_fixed_price_gets_no_markup():
    found = cost_of(60, PartNeed("socket", 1, Decimal(10), fixed=Decimal(12)))
    assert (found.price, found.cost) == (Decimal(80), Decimal(44))


def test_a_part_of_unknown_cost_is_reported_as_missing_from_the_sum():
    found = cost_of(60, PartNeed("socket", 1, None))
    assert (found.price, found.cost, found.is_whole) == (68, 34, False)
    assert cost_of(60, PartNeed("socket", 1, None, fixed=Decimal(5))).is_whole


def test_the_price_of_a_fix_is_that_of_its_quote_lines():
    # Each line is rounded, as on a quote: 50 and 12. The exact sum is 62.70.
    rates = ChargeRates(
        Decimal("67.20"), 15, Decimal(0), Markups(Decimal(60)), places=0
    )
    parts = [PartNeed("socket", 1, Decimal(10), fixed=Decimal("12.30"))]
    found = fix_cost(45, parts, rates=rates, hourly_cost=Decimal(34))
    assert found.price == Decimal(62)
