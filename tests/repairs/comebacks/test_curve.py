"""The return curve: what is drawn is what was seen, and agrees with the table."""

from decimal import Decimal

import numpy as np
import pytest

from repairs.comebacks.curve import APART, BOTTOM, MOST, MOST_SPOTS, TOP, curves
from repairs.comebacks.limits import alone
from repairs.comebacks.rows import Pair, Row
from repairs.comebacks.watch import counted

WITHIN = 90


def drawn(*fixes, about=None, limit=0.1):
    """The picture of fixes, each given as a list of (days watched, came back)."""
    number = np.repeat(np.arange(len(fixes)), [len(fix) for fix in fixes])
    t, d = (np.array(x) for x in zip(*(one for f in fixes for one in f), strict=True))
    counts = counted(number, t=t, d=d, pairs=len(fixes), within=WITHIN)
    own = alone(counts)
    rows = [
        Row(
            pair=Pair(1, n, "", ""),
            fault="FAULT",
            fix=f"FIX-{n}",
            declared="lasting",
            repairs=len(fix),
            judged=int(counts.judged[n]),
            returned=int(counts.returned[n]),
            expected=0.0,
            risk=0.1,
            low=0.05,
            high=0.2,
            alone=float(own.chance[n]),
            alone_low=float(own.low[n]),
            alone_high=float(own.high[n]),
            chance_over_limit=0.5,
            verdict="between",
            mean_redo_cost=Decimal(0),
            reserve=Decimal(0),
        )
        for n, fix in enumerate(fixes)
    ]
    return curves(rows, counts=counts, limit=limit, about=about)


HELD = (WITHIN, 0)
MIXED = [(3, 1), (20, 1), (20, 1), (40, 0), (60, 1), *[HELD] * 5]


def test_the_last_figure_of_a_curve_is_the_tables_own():
    picture = drawn(MIXED, about=0)
    last, row = picture.curves[0].spots[-1], picture.curves[0].row
    assert last.day == WITHIN
    assert (last.chance, last.low, last.high) == pytest.approx(
        (row.alone, row.alone_low, row.alone_high)
    )


def test_each_day_of_a_comeback_has_its_figures():
    spots = drawn(MIXED).curves[0].spots
    assert [(s.day, s.returned, s.watched) for s in spots] == [
        (3, 1, 9),
        (20, 3, 7),
        (60, 4, 5),
        (90, 4, 5),
    ]
    assert [round(s.chance, 6) for s in spots] == [0.1, 0.3, 0.416667, 0.416667]


def test_a_repair_that_is_watched_no_longer_makes_a_mark_and_no_step():
    curve = drawn(MIXED).curves[0]
    assert curve.cut.count("M") == 1
    assert "v5" in curve.cut
    assert drawn([HELD] * 4).curves[0].cut == ""


def test_a_curve_ends_with_the_last_repair_watched():
    picture = drawn([(10, 0), (30, 0)], [HELD] * 3)
    short, whole = picture.curves
    assert short.end[0] < whole.end[0] == picture.right
    assert short.spots[-1].day == 30
    assert short.spots[-1].said.endswith("0 % (0–100 %)")


def test_the_fix_it_is_about_comes_first_and_alone_has_a_band():
    picture = drawn([HELD] * 9, MIXED, about=1)
    assert [c.row.fix for c in picture.curves] == ["FIX-1", "FIX-0"]
    assert [bool(c.band) for c in picture.curves] == [True, False]
    assert not drawn([HELD], MIXED).has_band


def test_curves_differ_by_dash_and_shape_and_not_by_colour():
    picture = drawn(*[[HELD] * 3] * MOST)
    assert len({c.dash for c in picture.curves}) == MOST
    assert len({c.spots[0].shape.split("m")[1] for c in picture.curves}) == MOST


def test_of_more_fixes_than_can_be_told_apart_the_most_often_done_are_drawn():
    picture = drawn(*[[HELD] * (n + 1) for n in range(MOST + 2)], about=0)
    assert picture.left_out == 2
    assert [c.row.fix for c in picture.curves][0] == "FIX-0"
    assert {c.row.repairs for c in picture.curves} == {1, 4, 5, 6, 7}


def test_names_at_the_ends_never_cover_each_other():
    picture = drawn(*[[HELD] * 3] * MOST)
    heights = sorted(c.y_name for c in picture.curves)
    assert all(b - a >= APART for a, b in zip(heights, heights[1:], strict=False))
    assert heights[-1] <= BOTTOM + 10
    assert heights[0] >= TOP


def test_however_often_it_came_back_a_curve_has_few_figures():
    many = [(day, 1) for day in range(1, 80)] + [HELD] * 20
    spots = drawn(many).curves[0].spots
    assert len(spots) <= MOST_SPOTS
    assert spots[0].day == 1
    assert spots[-1].day == WITHIN


def test_all_that_came_back_fits_the_picture():
    picture = drawn([(1, 1)] * 4, about=0)
    [curve] = picture.curves
    assert curve.spots[-1].chance == 1
    for spot in curve.spots:
        assert TOP <= spot.y <= BOTTOM
    assert picture.chances[-1].said == "100 %"


def test_a_fix_handed_back_today_has_a_curve_too():
    picture = drawn([(0, 0)])
    assert picture.curves[0].spots[-1].day == 0
    assert picture.curves[0].steps.startswith("M")
