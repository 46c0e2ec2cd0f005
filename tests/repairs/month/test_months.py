"""Months, limits and triangle of a few repairs, worked out by hand."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from repairs.comebacks.estimate.posterior import Posterior
from repairs.comebacks.watch import NOT_OBSERVED
from repairs.month.frame import Observations
from repairs.month.months import (
    ABOVE,
    BELOW,
    COMPLETE,
    INCOMPLETE,
    MAX_MONTHS,
    WITHIN,
    Cell,
    MonthRow,
    last_day_before,
    months,
    p_chart,
    triangle,
)

ON = date(2026, 4, 15)
# A ratio known beyond doubt: the risk is then 1 - exp(-hazard).
SURE = Posterior(np.array([[1e10]]), np.array([[1e10]]), np.ones((1, 1)))


def observed(*repairs, as_of=ON, within=60):
    """Repairs of (day of handover, days to the comeback or None)."""
    back = [on.toordinal() + days if days else NOT_OBSERVED for on, days in repairs]
    return Observations.of(
        pd.DataFrame(
            {
                "repair": np.arange(len(repairs)),
                "pair": 0,
                "handed_over": np.array(
                    [on.toordinal() for on, _ in repairs], dtype=np.int64
                ),
                "out_of_use": NOT_OBSERVED,
                "came_back": np.array(back, dtype=np.int64),
            }
        ),
        as_of=as_of,
        within=within,
        hazard=np.arange(within + 1) / 1000.0,
        posterior=SURE,
    )


JANUARY = [(date(2026, 1, 10), 20), (date(2026, 1, 31), None), (date(2026, 1, 31), 60)]
NOVEMBER = [(date(2025, 11, 3), None)] * 5
OPEN = [(date(2026, 4, 5), None), (date(2026, 3, 20), 3)]


def test_each_month_has_its_repairs_comebacks_and_what_is_still_expected():
    found = months(observed(*NOVEMBER, *JANUARY, *OPEN))
    # 2 of 8 of the two complete months; limits by hand: 1/4 and 3 sqrt(3/16/n).
    assert found.centre == 0.25
    empty = {"repairs": 0, "comebacks": 0, "in_follow_up": 0, "still_expected": 0}
    nov, dec, jan, feb, mar, apr = found.rows
    assert (nov.month, nov.repairs, nov.comebacks) == (date(2025, 11, 1), 5, 0)
    assert nov.is_complete and nov.low == 0
    assert nov.high == pytest.approx(0.25 + 3 * (0.1875 / 5) ** 0.5)
    # A month without repairs is complete and has no limits.
    assert dec == MonthRow(month=date(2025, 12, 1), is_complete=True, **empty)
    assert feb == MonthRow(month=date(2026, 2, 1), is_complete=False, **empty)
    assert (jan.repairs, jan.comebacks, jan.in_follow_up) == (3, 2, 0)
    assert (jan.low, jan.high) == (0, 1) and jan.status == WITHIN
    assert (mar.repairs, mar.comebacks, mar.in_follow_up) == (1, 1, 0)
    assert mar.still_expected == 0 and mar.status == INCOMPLETE
    assert (apr.repairs, apr.comebacks, apr.in_follow_up) == (1, 0, 1)
    # Ten of sixty days are over.
    assert apr.still_expected == pytest.approx(1 - np.exp(-0.050), abs=1e-5)
    assert apr.expected_rate == apr.still_expected
    assert mar.expected_rate == mar.rate == 1
    assert [row.name for row in (nov, apr)] == ["Nov 2025", "Apr 2026"]
    assert found.complete_count == 3 and found.is_rough


def test_one_complete_month_has_no_limits():
    found = months(observed(*JANUARY, *OPEN))
    assert found.centre is None
    assert [row.status for row in found.rows] == [COMPLETE] + [INCOMPLETE] * 3
    assert all(row.low is None and row.high is None for row in found.rows)


def test_a_month_is_complete_once_the_period_of_its_last_day_is_over():
    for day, is_complete in ((date(2026, 3, 31), False), (date(2026, 4, 1), True)):
        # 31 January and 60 days is 1 April.
        [january, *_] = months(observed(*JANUARY, as_of=day)).rows
        assert january.is_complete is is_complete


def test_the_latest_two_years_are_shown_and_a_shop_without_repairs_has_one_month():
    long_ago = [(date(2020, 5, 5), None)]
    found = months(observed(*long_ago, *OPEN))
    assert len(found.rows) == MAX_MONTHS == 24
    assert found.rows[0].month == date(2024, 5, 1)
    [only] = months(observed()).rows
    assert (only.month, only.repairs, only.rate) == (date(2026, 4, 1), 0, 0)
    assert not months(observed(*[(date(2025, 2, 1), None)])).is_rough


def test_months_outside_the_limits_are_named():
    facts = {"month": ON, "is_complete": True, "in_follow_up": 0, "still_expected": 0.0}
    limits = {"low": 0.1, "high": 0.3}
    for comebacks, status in ((9, BELOW), (10, WITHIN), (30, WITHIN), (31, ABOVE)):
        row = MonthRow(repairs=100, comebacks=comebacks, **facts, **limits)
        assert row.status == status
        assert (row.is_above, row.is_below) == (status == ABOVE, status == BELOW)
    crowded = MonthRow(repairs=1, comebacks=1, **{**facts, "still_expected": 0.4})
    assert crowded.expected_rate == 1


def test_limits_lie_between_zero_and_one_also_without_repairs():
    chart = p_chart(np.array([1, 0, 3]), sizes=np.array([1, 0, 3]))
    assert chart.rate.tolist() == [1, 0, 1]
    assert chart.centre == 1
    assert chart.low.tolist() == chart.high.tolist() == [1, 1, 1]
    assert p_chart(np.array([0]), sizes=np.array([0])).centre == 0


def test_the_day_before_a_month():
    assert last_day_before(date(2026, 3, 31)) == date(2026, 2, 28)
    assert last_day_before(date(2026, 1, 1)) == date(2025, 12, 31)


def test_comebacks_stand_by_month_and_days_since_handover():
    seen = observed(*JANUARY, *OPEN)
    rows = months(seen).rows
    found = triangle(seen, rows)
    assert found.headings == ["0–30", "31–60"]
    assert [row.month for row, _ in found.rows] == [row.month for row in rows]
    january, february, march, april = (cells for _, cells in found.rows)
    assert january == [
        Cell(0, 30, count=1, repairs=3, has_begun=True, is_complete=True),
        Cell(31, 60, count=1, repairs=3, has_begun=True, is_complete=True),
    ]
    assert february == [
        Cell(0, 30, count=0, repairs=0, has_begun=True, is_complete=True),
        Cell(31, 60, count=0, repairs=0, has_begun=True, is_complete=False),
    ]
    assert march[0] == Cell(
        0, 30, count=1, repairs=1, has_begun=True, is_complete=False
    )
    assert [cell.has_begun for cell in april] == [True, False]


@pytest.mark.parametrize(
    ("within", "headings"),
    [
        (7, ["0–7"]),
        (90, ["0–30", "31–60", "61–90"]),
        (180, ["0–30", "31–60", "61–90", "91–120", "121–150", "151–180"]),
        (181, ["0–60", "61–120", "121–180", "181–181"]),
        (365, ["0–90", "91–180", "181–270", "271–360", "361–365"]),
    ],
)
def test_a_longer_period_has_wider_steps(within, headings):
    seen = observed(*OPEN, within=within)
    assert triangle(seen, months(seen).rows).headings == headings


def test_the_shade_says_how_many_edges_a_rate_exceeds():
    shades = {0: 0, 1: 1, 2: 1, 3: 2, 5: 2, 6: 3, 10: 3, 11: 4}
    for count, shade in shades.items():
        cell = Cell(0, 30, count=count, repairs=100, has_begun=True, is_complete=True)
        assert cell.shade == shade
    assert Cell(0, 30, 0, 0, has_begun=True, is_complete=True).rate == 0
