from decimal import Decimal

import pandas as pd

from repairs.comebacks.comeback_table import mean_rework_costs

JACK, FAN = 1, 2
NONE = (0, 0)


def means(*pairs, places=2):
    """Each pair: fault, rework (total, comebacks), cost (total, repairs)."""
    rows = [
        (fault, int(Decimal(rework[0]) * 10_000), rework[1], own[0] * 10_000, own[1])
        for fault, rework, own in pairs
    ]
    columns = ["fault_id", "rework_total", "reworks", "repair_total", "paid_repairs"]
    return mean_rework_costs(pd.DataFrame(rows, columns=columns), places=places)


def test_the_mean_is_over_the_comebacks_of_the_pair_if_it_had_any():
    costs = means((JACK, ("90.01", 2), (500, 1)), (JACK, ("10", 1), (500, 1)))
    assert costs == [Decimal("45.01"), Decimal("10.00")]


def test_a_pair_without_comebacks_takes_the_mean_of_its_fault():
    costs = means(
        (JACK, ("90", 2), NONE), (JACK, NONE, (500, 1)), (FAN, ("8", 1), NONE)
    )
    assert costs[1] == Decimal("45.00")


def test_a_fault_without_comebacks_takes_the_mean_of_the_shop():
    costs = means((JACK, ("90", 2), NONE), (FAN, NONE, (500, 1)))
    assert costs[1] == Decimal("45.00")


def test_a_shop_without_comebacks_takes_the_cost_of_the_repair():
    costs = means((JACK, NONE, (70, 2)), (FAN, NONE, NONE))
    assert costs == [Decimal("35.00"), Decimal("0.00")]


def test_a_comeback_that_cost_nothing_counts():
    assert means((JACK, ("0", 3), (70, 2))) == [Decimal("0.00")]


def test_a_currency_without_decimals_is_rounded_to_whole_units():
    assert means((JACK, ("1001", 2), NONE), places=0) == [Decimal("501")]


def test_amounts_keep_all_their_digits():
    costs = means((JACK, ("15.0001", 2), NONE), places=4)
    assert costs == [Decimal("7.5001")]


def test_no_pairs_have_no_costs():
    assert means() == []
