from decimal import Decimal

import numpy as np

from repairs.comebacks.redo import (
    UNPAID,
    Spent,
    cost_of_redo,
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


def many(*rows, pairs=2):
    """Each row: pair, visit, whether the same fault, cost in 1/10000."""
    pair, visit, is_same, cost = np.array(rows, dtype=np.int64).reshape(-1, 4).T
    return redone_by_pair(pair, visit=visit, is_same=is_same, cost=cost, pairs=pairs)


def test_pairs_nothing_was_spent_on_have_an_entry_too():
    assert many((1, 7, 1, 30_000)) == [Spent(), spent("3", 1)]
    assert many() == [Spent(), Spent()]


def test_many_comebacks_are_summed_as_each_by_itself():
    rows = [
        (0, 7, 1, 120_000),  # the same fault, and another on the same visit
        (0, 7, 0, 300_000),
        (0, 8, 0, 10_001),  # written under other faults: all of it
        (0, 8, 0, 20_000),
        (1, 9, 1, UNPAID),  # still open
        (1, 10, 1, 0),  # cost nothing, and is one all the same
    ]
    assert many(*rows) == [spent("15.0001", 2), spent("0", 1)]
    each = [
        cost_of_redo([("A", Decimal(12)), ("B", Decimal(30))], fault="A"),
        cost_of_redo([("B", Decimal("1.0001")), ("C", Decimal(2))], fault="A"),
    ]
    assert sum(each) == many(*rows)[0].total


def test_what_repairs_cost_at_first_need_not_be_told_where_comebacks_did():
    assert mean_redo_costs(["JACK"], redone=[spent("90", 2)]) == [Decimal("45.00")]


def test_only_work_on_the_fault_that_came_back_is_its_cost():
    costs = [("JACK", Decimal("12")), ("FAN", Decimal("30")), ("JACK", Decimal("3"))]
    assert cost_of_redo(costs, fault="JACK") == Decimal("15")


def test_a_visit_written_under_another_fault_counts_whole():
    costs = [("BOARD", Decimal("12")), ("FAN", Decimal("30"))]
    assert cost_of_redo(costs, fault="JACK") == Decimal("42")


def test_a_visit_not_handed_back_has_no_cost_yet():
    assert cost_of_redo([], fault="JACK") is None
