from decimal import Decimal

import numpy as np

from repairs.comebacks.redo import (
    UNPAID,
    Spent,
    mean_redo_costs,
    redone_by_pair,
)


def spent(total, jobs):
    return Spent(Decimal(total), jobs)


def test_the_mean_is_over_the_comebacks_of_the_pair_where_it_had_any():
    means = mean_redo_costs(
        ["JACK", "JACK"],
        redone=[spent("90.01", 2), spent("10", 1)],
        done=[spent("500", 1), spent("500", 1)],
    )
    assert means == [Decimal("45.01"), Decimal("10.00")]


def test_a_pair_without_comebacks_takes_the_mean_of_its_fault():
    means = mean_redo_costs(
        ["JACK", "JACK", "FAN"],
        redone=[spent("90", 2), Spent(), spent("8", 1)],
        done=[Spent(), spent("500", 1), Spent()],
    )
    assert means[1] == Decimal("45.00")


def test_a_fault_without_comebacks_takes_the_mean_of_the_shop():
    means = mean_redo_costs(
        ["JACK", "FAN"],
        redone=[spent("90", 2), Spent()],
        done=[Spent(), spent("500", 1)],
    )
    assert means[1] == Decimal("45.00")


def test_a_shop_without_comebacks_takes_what_the_repair_itself_cost():
    means = mean_redo_costs(
        ["JACK", "FAN"], redone=[Spent(), Spent()], done=[spent("70", 2), Spent()]
    )
    assert means == [Decimal("35.00"), Decimal("0.00")]


def test_a_comeback_that_cost_nothing_is_one_all_the_same():
    assert mean_redo_costs(["JACK"], redone=[spent("0", 3)], done=[spent("70", 2)]) == [
        Decimal("0.00")
    ]


def test_a_currency_without_decimals_is_rounded_to_whole_units():
    means = mean_redo_costs(
        ["JACK"], redone=[spent("1001", 2)], done=[Spent()], places=0
    )
    assert means == [Decimal("501")]


def test_pairs_nothing_was_spent_on_have_an_entry_too():
    assert many((1, 30_000)) == [Spent(), spent("3", 1)]
    assert many() == [Spent(), Spent()]


def test_comebacks_are_summed_by_pair_and_those_still_open_left_out():
    found = many((0, 120_000), (0, 30_001), (1, UNPAID), (1, 0))
    assert found == [spent("15.0001", 2), spent("0", 1)]


def many(*rows, pairs=2):
    """Each row: pair, and cost in 1/10000."""
    pair, cost = np.array(rows, dtype=np.int64).reshape(-1, 2).T
    return redone_by_pair(pair, cost=cost, pairs=pairs)


def test_what_repairs_cost_at_first_need_not_be_told_where_comebacks_did():
    assert mean_redo_costs(["JACK"], redone=[spent("90", 2)]) == [Decimal("45.00")]
