"""The table, on data whose answer is known beforehand or must keep a promise."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairs.comebacks import prior, verdict
from repairs.comebacks.pairs import (
    COLUMNS,
    by_what_matters,
    comeback_table,
    commonest_declared,
    flags,
)
from repairs.comebacks.watch import counted


def table_of(
    repairs,
    *,
    declared=(),
    faults=(),
    costs=(),
    within=90,
    limit=0.1,
    verdict_confidence=0.9,
    is_plain=False,
):
    """`repairs` lists (t, d) of each pair."""
    rows = [(pair, t, d) for pair, seen in enumerate(repairs) for t, d in seen]
    pair, t, d = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    pairs = pd.DataFrame(
        {
            "fault": faults or [f"FAULT-{pair:03}" for pair in range(len(repairs))],
            "fix": ["FIX"] * len(repairs),
            "declared": declared or ["lasting"] * len(repairs),
            "mean_redo_cost": costs or [Decimal("40.00")] * len(repairs),
        }
    )
    counts = counted(pair, t=t, d=d, pairs=len(repairs), within=within)
    return comeback_table(
        counts,
        pairs,
        limit=limit,
        verdict_confidence=verdict_confidence,
        is_plain=is_plain,
    )


def held(n):
    return [(90, 0)] * n


def back(n, *, on=20):
    return [(on, 1)] * n


A_SHOP = [held(40) + back(1) for _ in range(28)] + [held(10) + back(10)] * 4


def test_the_columns_stand_in_the_order_promised():
    assert (
        list(table_of(A_SHOP).rows.columns)
        == list(COLUMNS)
        == [
            *("fault", "fix", "declared", "repairs", "judged", "returned", "expected"),
            *("risk", "low", "high", "alone", "alone_low", "alone_high"),
            *("chance_over_limit", "verdict", "mean_redo_cost", "reserve"),
        ]
    )


@pytest.mark.parametrize("is_plain", [True, False])
def test_a_shop_with_two_groups_of_fixes_is_seen_as_such(is_plain):
    table = table_of(A_SHOP, is_plain=is_plain)
    assert len(table.prior.shapes) == 2
    assert table.prior.means[0] < 1 < table.prior.means[1]
    assert set(table.rows["verdict"][:28]) == {verdict.HOLDS}
    assert set(table.rows["verdict"][28:]) == {verdict.COMES_BACK}


def test_the_table_says_by_which_recipe_it_was_reckoned():
    ours, plain = table_of(A_SHOP), table_of(A_SHOP, is_plain=True)
    assert ours.prior.basis == prior.BY_DECLARED_AND_FAULT
    assert plain.prior.basis == prior.FITTED_TWO
    assert ours.figures is not None
    assert plain.figures is None


def test_a_plain_shop_whose_fixes_are_alike_keeps_to_one_group():
    table = table_of([held(38) + back(2) for _ in range(40)], is_plain=True)
    assert table.prior.basis == prior.FITTED_ONE


def test_a_small_plain_shop_says_that_two_groups_were_not_looked_for():
    table = table_of([held(12) + back(2), held(3), held(8) + back(4)], is_plain=True)
    assert table.prior.basis == prior.TOO_SMALL_FOR_TWO
    assert len(table.prior.shapes) == 1


def test_in_a_shop_whose_fixes_are_alike_none_is_drawn_far_from_the_average():
    table = table_of([held(38) + back(2) for _ in range(40)])
    assert table.rows["risk"].to_numpy() == pytest.approx(0.05, abs=0.01)


def test_what_the_bench_declared_counts_where_the_repairs_say_nothing_yet():
    shop = A_SHOP + [held(1), held(1)]
    words = ["lasting"] * 28 + ["stopgap"] * 4 + ["lasting", "stopgap"]
    lasting, stopgap = table_of(shop, declared=words).rows["risk"][-2:]
    assert stopgap > 2 * lasting
    lasting, stopgap = table_of(shop, declared=words, is_plain=True).rows["risk"][-2:]
    assert stopgap == lasting


def test_a_shop_without_a_comeback_starts_from_a_guess_and_claims_no_nought():
    table = table_of([held(3), held(60)])
    assert table.prior == prior.STARTING_GUESS
    assert table.figures is None
    assert table.is_without_returns
    assert (table.rows["risk"] > 0).all()
    assert table.rows["high"][1] == pytest.approx(3 / 63, rel=0.2)  # rule of three
    assert list(table.rows["verdict"]) == [verdict.TOO_FEW, verdict.HOLDS]


def test_one_repair_that_has_not_come_back_yet_is_too_few_to_tell():
    assert list(table_of([held(1)]).rows["verdict"]) == [verdict.TOO_FEW]


def test_an_empty_shop_has_an_empty_table():
    table = table_of([])
    assert table.rows.empty
    assert list(table.rows.columns) == list(COLUMNS)
    assert by_what_matters(table.rows).empty


def test_one_comeback_accuses_nobody():
    table = table_of([held(40) + back(1)] * 25 + [back(1)])
    assert table.rows["verdict"].iloc[-1] == verdict.TOO_FEW


def test_two_of_two_come_back_before_they_are_too_few():
    table = table_of(A_SHOP + [back(2)])
    assert table.rows["verdict"].iloc[-1] == verdict.COMES_BACK


def test_what_was_declared_lasting_and_comes_back_acts_as_a_stopgap():
    table = table_of(A_SHOP)
    assert flags(table.rows)[28] == verdict.ACTS_AS_STOPGAP
    assert flags(table.rows)[0] == ""


def test_a_declared_stopgap_that_holds_is_better_than_declared():
    table = table_of(A_SHOP, declared=["stopgap"] * 32)
    assert flags(table.rows)[0] == verdict.BETTER_THAN_DECLARED
    assert flags(table.rows)[28] == ""


def test_the_reserve_is_the_risk_times_the_cost_of_a_comeback_to_the_cent():
    table = table_of(A_SHOP, costs=[Decimal("33.33")] * 32)
    first = table.rows.iloc[0]
    exact = Decimal(repr(float(first["risk"]))) * Decimal("33.33")
    assert first["reserve"] == exact.quantize(Decimal("0.01"))


def test_what_comes_back_stands_first_and_the_dearest_of_it_foremost():
    costs = [Decimal(1)] * 28 + [Decimal(n) for n in (10, 40, 20, 30)]
    declared = ["stopgap"] * 2 + ["lasting"] * 30
    rows = by_what_matters(table_of(A_SHOP, costs=costs, declared=declared).rows)
    order = [int(fault[-3:]) for fault in rows["fault"]]
    assert order[:6] == [29, 31, 30, 28, 0, 1]


def test_a_thousand_repairs_of_one_pair_give_sharp_limits():
    row = table_of([held(950) + back(50)]).rows.iloc[0]
    assert row["risk"] == pytest.approx(0.05, abs=0.005)
    assert 0.03 < row["low"] < row["risk"] < row["high"] < 0.07


def test_what_a_pair_is_declared_is_what_was_said_most_often_or_last():
    said = commonest_declared(
        np.array([0, 0, 1, 1, 2, 2]),
        is_stopgap=np.array([1, 0, 1, 0, 0, 1]),
        many=np.array([2, 1, 1, 1, 1, 1]),
        handed_back=np.array([2, 9, 5, 4, 6, 6]),
        pairs=3,
    )
    assert said == ["stopgap", "stopgap", "stopgap"]
    said = commonest_declared(
        np.array([0, 0, 1]),
        is_stopgap=np.array([1, 0, 0]),
        many=np.array([3, 3, 1]),
        handed_back=np.array([4, 5, 1]),
        pairs=2,
    )
    assert said == ["lasting", "lasting"]


# ---- promises kept on any data -------------------------------------------------------

DAYS = st.tuples(st.integers(0, 30), st.integers(0, 1))
SHOPS = st.lists(st.lists(DAYS, min_size=1, max_size=12), min_size=1, max_size=30)
FIGURES = [name for name, kind in COLUMNS.items() if kind == "float64"]


@settings(max_examples=60, deadline=None)
@given(SHOPS, st.booleans(), st.randoms(use_true_random=False))
def test_no_figure_is_missing_and_limits_stand_in_order(shop, is_plain, chance):
    rows = table_of(
        shop,
        declared=[chance.choice(["lasting", "stopgap"]) for _ in shop],
        faults=[chance.choice("ABCDE") for _ in shop],
        within=30,
        is_plain=is_plain,
    ).rows
    assert np.isfinite(rows[FIGURES].to_numpy()).all()
    for low, middle, high in [
        ("low", "risk", "high"),
        ("alone_low", "alone", "alone_high"),
    ]:
        assert (rows[low] <= rows[high]).all()
        assert rows[[low, middle, high]].ge(0).all().all()
        assert rows[[low, middle, high]].le(1).all().all()
    assert (rows["alone_low"] <= rows["alone"] + 1e-9).all()
    assert (rows["alone"] <= rows["alone_high"] + 1e-9).all()
    assert rows["expected"].sum() == pytest.approx(rows["returned"].sum())
    assert set(rows["verdict"]) <= set(verdict.WORDS)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 10), st.integers(0, 9))
def test_more_comebacks_of_as_many_repairs_never_lower_the_risk(repairs, comebacks):
    comebacks = min(comebacks, repairs - 1)
    less, more = (
        table_of(A_SHOP + [held(repairs - o) + back(o)], faults=["A"] * 33).rows
        for o in (comebacks, comebacks + 1)
    )
    assert less["risk"].iloc[-1] < more["risk"].iloc[-1]


@pytest.mark.parametrize(
    "shop",
    [
        [[(0, 0)]],
        [[(0, 0)] * 50, [(0, 0)]],
        [[(0, 1)]],
        [[(0, 1)] * 30, [(30, 0)] * 5],
        [[(30, 0)]],
        [[(30, 1)] * 40] * 25,
    ],
    ids=[
        "one repair of today",
        "all handed back today",
        "one back on its first day",
        "all of one pair back at once",
        "one that held",
        "all back on the last day",
    ],
)
@pytest.mark.parametrize("declared", ["lasting", "stopgap"])
def test_the_ends_of_what_may_be_have_figures_too(shop, declared):
    rows = table_of(shop, declared=[declared] * len(shop), within=30).rows
    assert np.isfinite(rows[FIGURES].to_numpy()).all()
