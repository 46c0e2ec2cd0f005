import numpy as np
import pytest

from repairs.comebacks.watch import NEVER, counted, days_watched

HANDED_OVER = 1000


def watch(*, came_back=NEVER, watch_ends=NEVER, as_of=2000, within=90):
    t, d = days_watched(
        np.array([HANDED_OVER]),
        came_back=np.array([came_back]),
        watch_ends=np.array([watch_ends]),
        as_of=as_of,
        within=within,
    )
    return int(t[0]), int(d[0])


def test_an_old_repair_that_holds_is_watched_to_the_horizon():
    assert watch() == (90, 0)


def test_a_young_repair_is_watched_to_the_day_asked_for():
    assert watch(as_of=1012) == (12, 0)


def test_a_comeback_ends_the_watch_on_its_day():
    assert watch(came_back=1031) == (31, 1)


def test_a_comeback_on_the_last_day_counts_and_one_a_day_later_does_not():
    assert watch(came_back=1090) == (90, 1)
    assert watch(came_back=1091) == (90, 0)


def test_a_comeback_after_the_day_asked_for_is_not_known_yet():
    assert watch(came_back=1031, as_of=1030) == (30, 0)
    assert watch(came_back=1031, as_of=1031) == (31, 1)


def test_a_device_sold_on_is_not_watched_after_that_day():
    assert watch(watch_ends=1020) == (20, 0)


def test_a_device_gone_before_it_was_handed_back_was_watched_for_no_day():
    assert watch(watch_ends=900) == (0, 0)


def test_the_day_of_handing_back_is_day_nought():
    assert watch(came_back=1000) == (0, 1)


def test_counts_know_who_was_watched_through_and_who_is_judged():
    counts = counted(
        np.array([0, 0, 0, 0, 1]),
        t=np.array([90, 90, 40, 12, 0]),
        d=np.array([0, 1, 1, 0, 0]),
        pairs=3,
        within=90,
    )
    assert counts.repairs.tolist() == [4, 1, 0]
    assert counts.returned.tolist() == [2, 0, 0]
    assert counts.watched_through.tolist() == [1, 0, 0]
    assert counts.judged.tolist() == [3, 0, 0]
    assert counts.at_risk[0, [0, 12, 13, 40, 41, 90]].tolist() == [4, 4, 3, 3, 2, 2]
    assert counts.longest_watch == 90


@pytest.mark.parametrize("pairs", [0, 2])
def test_no_repairs_at_all_are_counted_as_none(pairs):
    none = np.array([], dtype=np.int64)
    counts = counted(none, t=none, d=none, pairs=pairs, within=90)
    assert counts.left.shape == (pairs, 91)
    assert counts.longest_watch == 0


def test_what_is_known_later_of_a_repair_moves_it():
    t, d = np.array([90, 90, 40]), np.array([0, 0, 0])
    counts = counted(np.array([0, 0, 1]), t=t, d=d, pairs=2, within=90)
    later = counts.moved(
        np.array([0, 1]),
        from_=(np.array([90, 40]), np.array([0, 0])),
        to=(np.array([12, 40]), np.array([1, 1])),
    )
    straight = counted(
        np.array([0, 0, 1]),
        t=np.array([12, 90, 40]),
        d=np.array([1, 0, 1]),
        pairs=2,
        within=90,
    )
    assert np.array_equal(later.left, straight.left)
    assert np.array_equal(later.back, straight.back)
