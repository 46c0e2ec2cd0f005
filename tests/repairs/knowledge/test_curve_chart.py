"""The comeback curves show what was observed, and agree with the table."""

from decimal import Decimal

import numpy as np
import pytest

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.kaplan_meier import kaplan_meier
from repairs.comebacks.watch import count_exits
from repairs.knowledge.curve_chart import (
    BOTTOM,
    MAX_CURVES,
    MAX_POINTS,
    MIN_NAME_GAP,
    TOP,
    curve_chart,
)

WITHIN = 90


def chart_of(*fixes, focus=None, limit=0.1):
    """The chart of fixes, each a list of (days followed up, came back)."""
    number = np.repeat(np.arange(len(fixes)), [len(fix) for fix in fixes])
    t, d = (np.array(x) for x in zip(*(one for f in fixes for one in f), strict=True))
    counts = count_exits(number, days=t, is_event=d, pairs=len(fixes), within=WITHIN)
    own = kaplan_meier(counts)
    rows = [
        Row(
            number=n,
            fault_id=1,
            fix_id=n,
            fault_name="",
            fix_name="",
            fault="FAULT",
            fix=f"FIX-{n}",
            fix_type="lasting",
            repairs=len(fix),
            followed_up=int(counts.followed_up[n]),
            comebacks=int(counts.comebacks[n]),
            expected_comebacks=0.0,
            risk=0.1,
            risk_low=0.05,
            risk_high=0.2,
            own_risk=float(own.risk[n]),
            own_low=float(own.low[n]),
            own_high=float(own.high[n]),
            probability_above_limit=0.5,
            verdict="borderline",
            mean_rework_cost=Decimal(0),
            comeback_allowance=Decimal(0),
        )
        for n, fix in enumerate(fixes)
    ]
    return curve_chart(rows, counts=counts, limit=limit, focus=focus)


NO_COMEBACK = (WITHIN, 0)
MIXED = [(3, 1), (20, 1), (20, 1), (40, 0), (60, 1), *[NO_COMEBACK] * 5]


def test_the_last_point_of_a_curve_equals_the_table():
    chart = chart_of(MIXED, focus=0)
    last, row = chart.curves[0].points[-1], chart.curves[0].row
    assert last.day == WITHIN
    assert (last.risk, last.low, last.high) == pytest.approx(
        (row.own_risk, row.own_low, row.own_high)
    )


def test_each_day_with_a_comeback_has_its_figures():
    points = chart_of(MIXED).curves[0].points
    assert [(s.day, s.comebacks, s.at_risk) for s in points] == [
        (3, 1, 9),
        (20, 3, 7),
        (60, 4, 5),
        (90, 4, 5),
    ]
    assert [round(s.risk, 6) for s in points] == [0.1, 0.3, 0.416667, 0.416667]


def test_a_censored_repair_makes_a_tick_and_no_step():
    curve = chart_of(MIXED).curves[0]
    assert curve.censored.count("M") == 1
    assert "v5" in curve.censored
    assert chart_of([NO_COMEBACK] * 4).curves[0].censored == ""


def test_a_curve_ends_with_the_last_repair_in_follow_up():
    chart = chart_of([(10, 0), (30, 0)], [NO_COMEBACK] * 3)
    short, whole = chart.curves
    assert short.end.x < whole.end.x == chart.right
    assert short.points[-1].day == 30
    assert short.points[-1].text.endswith("0 % (0–100 %)")


def test_the_fix_in_focus_comes_first_and_only_it_has_a_band():
    chart = chart_of([NO_COMEBACK] * 9, MIXED, focus=1)
    assert [c.row.fix for c in chart.curves] == ["FIX-1", "FIX-0"]
    assert [bool(c.band) for c in chart.curves] == [True, False]
    assert not chart_of([NO_COMEBACK], MIXED).has_band


def test_curves_differ_by_dash_and_shape_and_not_by_colour():
    chart = chart_of(*[[NO_COMEBACK] * 3] * MAX_CURVES)
    assert len({c.dash for c in chart.curves}) == MAX_CURVES
    assert len({c.points[0].shape.split("m")[1] for c in chart.curves}) == MAX_CURVES


def test_of_many_fixes_the_most_frequent_are_drawn():
    chart = chart_of(*[[NO_COMEBACK] * (n + 1) for n in range(MAX_CURVES + 2)], focus=0)
    assert chart.left_out == 2
    assert [c.row.fix for c in chart.curves][0] == "FIX-0"
    assert {c.row.repairs for c in chart.curves} == {1, 4, 5, 6, 7}


def test_names_at_the_ends_never_overlap():
    chart = chart_of(*[[NO_COMEBACK] * 3] * MAX_CURVES)
    heights = sorted(c.y_name for c in chart.curves)
    assert all(
        b - a >= MIN_NAME_GAP for a, b in zip(heights, heights[1:], strict=False)
    )
    assert heights[-1] <= BOTTOM + 10
    assert heights[0] >= TOP


def test_a_curve_with_many_comebacks_has_few_points():
    many = [(day, 1) for day in range(1, 80)] + [NO_COMEBACK] * 20
    points = chart_of(many).curves[0].points
    assert len(points) <= MAX_POINTS
    assert points[0].day == 1
    assert points[-1].day == WITHIN


def test_a_curve_up_to_100_percent_fits_the_chart():
    chart = chart_of([(1, 1)] * 4, focus=0)
    [curve] = chart.curves
    assert curve.points[-1].risk == 1
    for point in curve.points:
        assert TOP <= point.y <= BOTTOM
    assert chart.risks[-1].label == "100 %"


def test_a_fix_handed_over_today_has_a_curve():
    chart = chart_of([(0, 0)])
    assert chart.curves[0].points[-1].day == 0
    assert chart.curves[0].steps.startswith("M")
