"""Cover dates at the awkward places of the calendar and the clock.

Leap days: the Gregorian rule (a year divisible by 4, not by 100 unless by 400). Clock
changes: the IANA time zone database as the standard library has it. Both are identities
that must hold; there is no table to copy.
"""

from calendar import isleap
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone

from repairs.jobs import states, workflow
from repairs.jobs.warranty import is_in_warranty, rework_warranty_until, warranty_until
from tests import make


def test_the_day_of_handover_is_day_0_and_the_last_day_is_in_warranty():
    until = warranty_until(date(2026, 3, 2), days=30)
    assert until == date(2026, 4, 1)
    assert is_in_warranty(date(2026, 3, 2), until=until)
    assert is_in_warranty(date(2026, 4, 1), until=until)
    assert not is_in_warranty(date(2026, 4, 2), until=until)
    assert not is_in_warranty(date(2026, 3, 2), until=None)


@pytest.mark.parametrize(
    ("handed_over_on", "days", "until"),
    [
        (date(2028, 2, 28), 1, date(2028, 2, 29)),
        (date(2028, 2, 29), 0, date(2028, 2, 29)),
        (date(2028, 2, 29), 365, date(2029, 2, 28)),
        (date(2028, 2, 29), 366, date(2029, 3, 1)),
        (date(2027, 2, 28), 1, date(2027, 3, 1)),
        (date(2027, 3, 1), 365, date(2028, 2, 29)),
        (date(2100, 2, 28), 1, date(2100, 3, 1)),  # 2100 has no 29 February
        (date(2000, 2, 28), 1, date(2000, 2, 29)),  # 2000 had one
        (date(2026, 12, 31), 180, date(2027, 6, 29)),
    ],
)
def test_the_29th_of_february_counts_as_the_day_it_is(handed_over_on, days, until):
    assert warranty_until(handed_over_on, days=days) == until


@pytest.mark.parametrize("year", [1900, 2000, 2024, 2026, 2028, 2100])
def test_a_year_of_warranty_ends_a_day_early_over_a_leap_day(year):
    until = warranty_until(date(year, 1, 1), days=365)
    assert until == (date(year, 12, 31) if isleap(year) else date(year + 1, 1, 1))


def test_rework_keeps_the_old_warranty_but_at_least_the_minimum():
    handed_over_on = date(2026, 3, 2)
    old = date(2026, 8, 1)
    assert rework_warranty_until(handed_over_on, old_until=old, rest_days=30) == old
    late = date(2026, 3, 10)
    assert rework_warranty_until(handed_over_on, old_until=late, rest_days=30) == date(
        2026, 4, 1
    )


ZONES = ("Europe/Berlin", "Pacific/Auckland")
# The nights on which the clocks of these places change, and a plain one.
NIGHTS = [
    ("Europe/Berlin", date(2026, 3, 29)),
    ("Europe/Berlin", date(2026, 10, 25)),
    ("Pacific/Auckland", date(2026, 9, 27)),
    ("Pacific/Auckland", date(2026, 4, 5)),
    ("Europe/Berlin", date(2026, 7, 1)),
    ("Pacific/Auckland", date(2028, 2, 29)),
]


def test_the_nights_are_those_on_which_the_clocks_change():
    for zone, day in NIGHTS[:4]:
        start = datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone))
        offsets = {(start + timedelta(hours=h)).utcoffset() for h in (0, 12)}
        assert len(offsets) == 2, (zone, day)


@pytest.mark.parametrize(("zone", "day"), NIGHTS)
@pytest.mark.parametrize(
    "clock", ["00:00", "00:59", "01:30", "02:30", "03:30", "23:59"]
)
@pytest.mark.django_db
def test_warranty_starts_on_the_local_day_at_every_hour_of_such_a_night(
    zone, day, clock
):
    make.shop(warranty_days_lasting=30)
    hour, minute = map(int, clock.split(":"))
    for fold in (0, 1):
        local = datetime(
            day.year, day.month, day.day, hour, minute, fold=fold, tzinfo=ZoneInfo(zone)
        )
        with timezone.override(zone), time_machine.travel(local.astimezone(UTC)):
            assert timezone.localdate() == day
            job = make.job(on=day, state=states.READY, outcome=states.FIXED)
            repair = make.repair(
                job, fix=make.fix(), outcome=states.FIXED, fix_type="lasting"
            )
            workflow.hand_over(
                job, stamp=make.stamp(on=timezone.localdate()), shop=make.shop()
            )
            repair.refresh_from_db()
        assert repair.warranty_until == day + timedelta(days=30)


@pytest.mark.parametrize("zone", ZONES)
def test_the_last_day_ends_at_local_midnight(zone):
    until = warranty_until(date(2026, 3, 2), days=27)
    assert until == date(2026, 3, 29)  # the night of the change in Berlin
    last = datetime(2026, 3, 29, 23, 59, 59, tzinfo=ZoneInfo(zone))
    with timezone.override(zone):
        with time_machine.travel(last.astimezone(UTC), tick=False):
            assert is_in_warranty(timezone.localdate(), until=until)
        with time_machine.travel(
            last.astimezone(UTC) + timedelta(seconds=1), tick=False
        ):
            assert not is_in_warranty(timezone.localdate(), until=until)


def test_two_places_disagree_about_today_and_each_is_right():
    moment = datetime(2026, 3, 28, 12, 30, tzinfo=UTC)
    until = date(2026, 3, 28)
    with time_machine.travel(moment, tick=False):
        with timezone.override("Europe/Berlin"):
            assert is_in_warranty(timezone.localdate(), until=until)
        with timezone.override("Pacific/Auckland"):
            assert not is_in_warranty(timezone.localdate(), until=until)
