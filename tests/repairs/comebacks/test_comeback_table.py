"""The table, on data with a known answer or a property that must hold."""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from repairs.comebacks.comeback_table import (
    COLUMNS,
    DTYPES,
    FILE_VERDICTS,
    comeback_table,
    sorted_by_priority,
)
from repairs.comebacks.estimate import prior, verdict
from repairs.comebacks.watch import count_exits, most_common_type


def table_of(
    repairs,
    *,
    fix_types=(),
    faults=(),
    costs=(),
    within=90,
    limit=0.1,
    verdict_confidence=0.9,
):
    """`repairs` lists (days, is_event) of each pair."""
    rows = [
        (pair, t, d) for pair, follow_ups in enumerate(repairs) for t, d in follow_ups
    ]
    pair, t, d = np.array(rows, dtype=np.int64).reshape(-1, 3).T
    pairs = pd.DataFrame(
        {
            "fault_id": range(len(repairs)),
            "fix_id": 1,
            "fault_name": "A fault",
            "fix_name": "A fix",
            "fault": faults or [f"FAULT-{pair:03}" for pair in range(len(repairs))],
            "fix": ["FIX"] * len(repairs),
            "fix_type": fix_types or ["lasting"] * len(repairs),
            "mean_rework_cost": costs or [Decimal("40.00")] * len(repairs),
        }
    )
    counts = count_exits(pair, days=t, is_event=d, pairs=len(repairs), within=within)
    return comeback_table(counts, pairs, limit=limit, confidence=verdict_confidence)


def table_rows(table):
    """The rows in the order of the pairs."""
    return sorted(table.rows, key=lambda row: row.number)


def no_comebacks(n):
    return [(90, 0)] * n


def comebacks_after(n, *, on=20):
    return [(on, 1)] * n


A_SHOP = [no_comebacks(40) + comebacks_after(1) for _ in range(28)] + [
    no_comebacks(10) + comebacks_after(10)
] * 4


def test_the_columns_have_their_order():
    table = table_of(A_SHOP)
    assert list(table.frame.columns) == list(DTYPES)
    assert (
        list(table.for_file().columns)
        == [column.file_name for column in COLUMNS.values()]
        == [
            *("fault", "fix", "declared", "repairs", "judged", "returned", "expected"),
            *("risk", "low", "high", "alone", "alone_low", "alone_high"),
            *("chance_over_limit", "verdict", "mean_redo_cost", "reserve"),
        ]
    )


def test_two_groups_of_fixes_are_recognized():
    table = table_of(A_SHOP)
    assert len(table.rates.prior.shapes) == 2
    assert table.rates.prior.means[0] < 1 < table.rates.prior.means[1]
    assert set(table.frame["verdict"][:28]) == {verdict.RELIABLE}
    assert set(table.frame["verdict"][28:]) == {verdict.TOO_MANY_COMEBACKS}


def test_the_table_knows_its_prior():
    table = table_of(A_SHOP)
    assert table.rates.prior.basis == prior.BY_TYPE_AND_FAULT
    assert table.rates.parameters is not None


def test_similar_fixes_stay_near_the_average():
    table = table_of([no_comebacks(38) + comebacks_after(2) for _ in range(40)])
    assert table.frame["risk"].to_numpy() == pytest.approx(0.05, abs=0.01)


def test_the_recorded_type_counts_where_there_are_few_repairs():
    shop = A_SHOP + [no_comebacks(1), no_comebacks(1)]
    verdicts = ["lasting"] * 28 + ["stopgap"] * 4 + ["lasting", "stopgap"]
    lasting, stopgap = table_of(shop, fix_types=verdicts).frame["risk"][-2:]
    assert stopgap > 2 * lasting


def test_without_comebacks_the_default_prior_gives_a_risk_above_zero():
    table = table_of([no_comebacks(3), no_comebacks(60)])
    assert table.rates.prior == prior.DEFAULT_PRIOR
    assert table.rates.parameters is None
    assert table.has_no_comebacks
    assert (table.frame["risk"] > 0).all()
    assert table.frame["risk_high"][1] == pytest.approx(
        3 / 63, rel=0.2
    )  # rule of three
    assert list(table.frame["verdict"]) == [
        verdict.NOT_ENOUGH_REPAIRS,
        verdict.RELIABLE,
    ]


def test_one_repair_is_not_enough():
    assert list(table_of([no_comebacks(1)]).frame["verdict"]) == [
        verdict.NOT_ENOUGH_REPAIRS
    ]


def test_an_empty_shop_has_an_empty_table():
    table = table_of([])
    assert table.frame.empty
    assert list(table.frame.columns) == list(DTYPES)
    assert table.rows == []
    assert table.for_file().empty


def test_one_comeback_is_not_enough_for_a_verdict():
    table = table_of(
        [no_comebacks(40) + comebacks_after(1)] * 25 + [comebacks_after(1)]
    )
    assert table.frame["verdict"].iloc[-1] == verdict.NOT_ENOUGH_REPAIRS


def test_two_of_two_are_too_many_comebacks():
    table = table_of(A_SHOP + [comebacks_after(2)])
    assert table.frame["verdict"].iloc[-1] == verdict.TOO_MANY_COMEBACKS


def test_a_lasting_fix_with_too_many_comebacks_performs_like_a_stopgap():
    table = table_of(A_SHOP)
    assert table_rows(table)[28].mismatch == verdict.WORSE_THAN_RECORDED
    assert table_rows(table)[0].mismatch == ""


def test_a_reliable_stopgap_lasts_better_than_recorded():
    table = table_of(A_SHOP, fix_types=["stopgap"] * 32)
    assert table_rows(table)[0].mismatch == verdict.BETTER_THAN_RECORDED
    assert table_rows(table)[28].mismatch == ""


def test_the_allowance_is_risk_times_rework_cost_to_the_cent():
    table = table_of(A_SHOP, costs=[Decimal("33.33")] * 32)
    first = table.frame.iloc[0]
    exact = Decimal(repr(float(first["risk"]))) * Decimal("33.33")
    assert first["comeback_allowance"] == exact.quantize(Decimal("0.01"))


def test_too_many_comebacks_come_first_by_cost():
    costs = [Decimal(1)] * 28 + [Decimal(n) for n in (10, 40, 20, 30)]
    fix_types = ["stopgap"] * 2 + ["lasting"] * 30
    rows = sorted_by_priority(table_of(A_SHOP, costs=costs, fix_types=fix_types).frame)
    order = [int(fault[-3:]) for fault in rows["fault"]]
    assert order[:6] == [29, 31, 30, 28, 0, 1]


def test_a_thousand_repairs_of_a_pair_give_a_narrow_range():
    row = table_of([no_comebacks(950) + comebacks_after(50)]).frame.iloc[0]
    assert row["risk"] == pytest.approx(0.05, abs=0.005)
    assert 0.03 < row["risk_low"] < row["risk"] < row["risk_high"] < 0.07


def types(*rows):
    """Whether each pair is a stopgap. Rows: number, is_stopgap, repairs, last."""
    columns = ["number", "is_stopgap", "repairs", "last"]
    return most_common_type(pd.DataFrame(rows, columns=columns)).tolist()


def test_the_type_of_a_pair_is_the_most_common_or_the_latest():
    assert types(
        *[(0, True, 2, 2), (0, False, 1, 9)],
        *[(1, True, 1, 5), (1, False, 1, 4)],
        *[(2, False, 1, 6), (2, True, 1, 6)],
    ) == [True, True, True]
    assert types((0, True, 3, 4), (0, False, 3, 5), (1, False, 1, 1)) == [False, False]


# --- properties that hold on any data ---------------------------------------------

DAYS = st.tuples(st.integers(0, 30), st.integers(0, 1))
SHOPS = st.lists(st.lists(DAYS, min_size=1, max_size=12), min_size=1, max_size=30)
FIGURES = [name for name in COLUMNS if DTYPES[name] == "float64"]


@settings(max_examples=60, deadline=None)
@given(SHOPS, st.randoms(use_true_random=False))
def test_no_figure_is_missing_and_limits_are_in_order(shop, chance):
    rows = table_of(
        shop,
        fix_types=[chance.choice(["lasting", "stopgap"]) for _ in shop],
        faults=[chance.choice("ABCDE") for _ in shop],
        within=30,
    ).frame
    assert np.isfinite(rows[FIGURES].to_numpy()).all()
    for low, middle, high in [
        ("risk_low", "risk", "risk_high"),
        ("own_low", "own_risk", "own_high"),
    ]:
        assert (rows[low] <= rows[high]).all()
        assert rows[[low, middle, high]].ge(0).all().all()
        assert rows[[low, middle, high]].le(1).all().all()
    assert (rows["own_low"] <= rows["own_risk"] + 1e-9).all()
    assert (rows["own_risk"] <= rows["own_high"] + 1e-9).all()
    assert rows["expected_comebacks"].sum() == pytest.approx(rows["comebacks"].sum())
    assert set(rows["verdict"]) <= set(verdict.VERDICTS)


@settings(max_examples=20, deadline=None)
@given(st.integers(1, 10), st.integers(0, 9))
def test_more_comebacks_of_as_many_repairs_never_lower_the_risk(repairs, comebacks):
    comebacks = min(comebacks, repairs - 1)
    less, more = (
        table_of(
            A_SHOP + [no_comebacks(repairs - o) + comebacks_after(o)], faults=["A"] * 33
        ).frame
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
        "all handed over today",
        "one back on its first day",
        "all of one pair back at once",
        "one that held",
        "all back on the last day",
    ],
)
@pytest.mark.parametrize("fix_types", ["lasting", "stopgap"])
def test_extreme_cases_have_figures(shop, fix_types):
    rows = table_of(shop, fix_types=[fix_types] * len(shop), within=30).frame
    assert np.isfinite(rows[FIGURES].to_numpy()).all()


def test_the_files_keep_the_words_of_the_verdicts():
    table = table_of([*A_SHOP, comebacks_after(2), no_comebacks(1)])
    verdicts = {row.label: row.verdict for row in table.rows}
    in_file = table.for_file()
    labels = in_file["fault"] + " / " + in_file["fix"]
    for label, word in zip(labels, in_file["verdict"], strict=True):
        assert word == FILE_VERDICTS[verdicts[label]]
    assert {"comes back", "holds", "too few to tell"} == set(in_file["verdict"])
    assert FILE_VERDICTS[verdict.BORDERLINE] == "between"
