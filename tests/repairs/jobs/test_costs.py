"""What a repair has cost the shop when the device leaves."""

from decimal import Decimal

import pytest

from repairs.jobs import states
from repairs.jobs.actions import use_part
from tests import make

pytestmark = pytest.mark.django_db
D = Decimal


def ready(**facts):
    return make.job(state=states.READY, outcome=states.NOT_FIXED, **facts)


def costs(job):
    """The costs kept at the end of the job, in the order of its repairs."""
    job.hand_over(on=make.DAY, by=None)
    return list(job.repairs.order_by("id").values_list("cost", flat=True))


def test_minutes_on_the_job_as_a_whole_are_shared_by_its_repairs():
    """At 30.00 an hour, 80 minutes for all are 40 for each of two: 20.00, and 5.00
    for the 10 minutes that one took besides."""
    make.shop(hourly_cost=D(30))
    job = ready()
    make.repair(job)
    second = make.repair(job)
    job.labour.create(minutes=80)
    job.labour.create(repair=second, minutes=10)
    assert costs(job) == [D("20.0000"), D("25.0000")]


def test_minutes_that_cannot_be_shared_evenly_are_shared_to_the_ten_thousandth():
    """An hour of three repairs at 10.00 is 3.3333 for each."""
    make.shop(hourly_cost=D(10))
    job = ready()
    for _ in range(3):
        make.repair(job)
    job.labour.create(minutes=60)
    assert costs(job) == [D("3.3333")] * 3


def test_parts_cost_what_the_deliveries_cost_that_they_came_from():
    """The oldest go first: two at 2.00, then one at 5.00."""
    make.shop(hourly_cost=D(30))
    part = make.part()
    make.delivery(part, 4, unit_cost=D(5), on=make.DAY.replace(day=9))
    make.delivery(part, 2, unit_cost=D(2), on=make.DAY.replace(day=1))
    repair = make.repair(make.job(state=states.APPROVED))
    used = use_part(repair, part=part, quantity=3, by=None)
    assert [(one.quantity, one.cost) for one in used] == [(2, D(2)), (1, D(5))]
    job = repair.job
    job.close(outcome=states.NOT_FIXED, by=None, why="It did not help.")
    assert costs(job) == [D(9)]
