import numpy as np
import pandas as pd
import pytest

from repairs.comebacks.watch import (
    NOT_OBSERVED,
    count_exits,
    count_follow_up,
    follow_up,
)

HANDED_OVER = 1000


def follow(*, came_back=NOT_OBSERVED, out_of_use=NOT_OBSERVED, as_of=2000, within=90):
    t, d = follow_up(
        np.array([HANDED_OVER]),
        came_back=np.array([came_back]),
        out_of_use=np.array([out_of_use]),
        as_of=as_of,
        within=within,
    )
    return int(t[0]), int(d[0])


def test_an_old_repair_without_comeback_is_followed_up_for_the_whole_period():
    assert follow() == (90, 0)


def test_a_young_repair_is_followed_up_to_the_report_date():
    assert follow(as_of=1012) == (12, 0)


def test_a_comeback_ends_the_follow_up_on_its_day():
    assert follow(came_back=1031) == (31, 1)


def test_a_comeback_on_the_last_day_counts_and_one_a_day_later_does_not():
    assert follow(came_back=1090) == (90, 1)
    assert follow(came_back=1091) == (90, 0)


def test_a_comeback_after_the_report_date_is_not_counted():
    assert follow(came_back=1031, as_of=1030) == (30, 0)
    assert follow(came_back=1031, as_of=1031) == (31, 1)


def test_follow_up_ends_on_the_day_a_device_goes_out_of_use():
    assert follow(out_of_use=1020) == (20, 0)


def test_a_device_out_of_use_before_handover_has_no_follow_up():
    assert follow(out_of_use=900) == (0, 0)


def test_the_day_of_handover_is_day_0():
    assert follow(came_back=1000) == (0, 1)


def test_counts_give_at_risk_completed_and_followed_up():
    counts = count_exits(
        np.array([0, 0, 0, 0, 1]),
        days=np.array([90, 90, 40, 12, 0]),
        is_event=np.array([0, 1, 1, 0, 0]),
        pairs=3,
        within=90,
    )
    assert counts.repairs.tolist() == [4, 1, 0]
    assert counts.comebacks.tolist() == [2, 0, 0]
    assert counts.completed.tolist() == [1, 0, 0]
    assert counts.followed_up.tolist() == [3, 0, 0]
    assert counts.at_risk[0, [0, 12, 13, 40, 41, 90]].tolist() == [4, 4, 3, 3, 2, 2]
    assert counts.longest_follow_up == 90


@pytest.mark.parametrize("pairs", [0, 2])
def test_no_repairs_give_empty_counts(pairs):
    none = np.array([], dtype=np.int64)
    counts = count_exits(none, days=none, is_event=none, pairs=pairs, within=90)
    assert counts.exits.shape == (pairs, 91)
    assert counts.longest_follow_up == 0


def test_what_was_observed_takes_the_place_of_complete_follow_up():
    fixed = pd.DataFrame(
        {"number": [0, 1], "repairs": [2, 1], "ages": [None, "40"]},
    )
    observed = pd.DataFrame(
        {
            "number": [0, 1],
            "handed_over": [1000, 1460],
            "came_back": [1012, 1500],
            "out_of_use": NOT_OBSERVED,
        }
    )
    counts = count_follow_up(fixed, observed, pairs=2, as_of=1500, within=90)
    direct = count_exits(
        np.array([0, 0, 1]),
        days=np.array([12, 90, 40]),
        is_event=np.array([1, 0, 1]),
        pairs=2,
        within=90,
    )
    assert np.array_equal(counts.exits, direct.exits)
    assert np.array_equal(counts.events, direct.events)
