"""A repair has the day its job was handed over, which cannot be changed."""

from contextlib import contextmanager
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from repairs.jobs import states, workflow
from repairs.jobs.models import Repair
from tests import make

pytestmark = pytest.mark.django_db

DAY = date(2026, 3, 5)


def days(job):
    return list(job.repairs.order_by("id").values_list("handed_over_on", flat=True))


@contextmanager
def refused(why="on the day of its job"):
    with pytest.raises(IntegrityError, match=why), transaction.atomic():
        yield


def test_handing_back_gives_every_repair_of_the_job_its_day():
    job = make.job(state=states.READY, outcome=states.NOT_REPAIRABLE)
    other = make.repair()
    make.repair(job)
    make.repair(job)
    assert days(job) == [None, None]
    workflow.hand_over(job, stamp=make.stamp(on=DAY), shop=make.shop())
    assert days(job) == [DAY, DAY]
    assert days(other.job) == [None]


@pytest.mark.parametrize("day", [None, DAY + timedelta(1)])
def test_a_repair_is_not_written_with_another_day(day):
    job = make.past_repair(make.fault(), make.fix(), on=DAY).job
    with refused():
        Repair.objects.create(job=job, fault=make.fault(), handed_over_on=day)
    assert days(job) == [DAY]


@pytest.mark.parametrize("day", [None, DAY + timedelta(1)])
def test_a_repair_does_not_take_another_day(day):
    repair = make.past_repair(make.fault(), make.fix(), on=DAY)
    with refused("cannot be changed after handover|on the day of its job"):
        Repair.objects.filter(pk=repair.pk).update(handed_over_on=day)
    assert days(repair.job) == [DAY]


def test_a_repair_at_the_bench_takes_no_day_before_its_job():
    repair = make.repair()
    with refused():
        Repair.objects.filter(pk=repair.pk).update(handed_over_on=DAY)
    assert days(repair.job) == [None]


def test_a_repair_at_the_bench_does_not_go_to_a_job_of_another_day():
    repair = make.repair()
    done = make.past_repair(make.fault(), make.fix(), on=DAY).job
    with refused():
        Repair.objects.filter(pk=repair.pk).update(job=done)
    assert days(repair.job) == [None]


def test_what_else_is_changed_of_a_repair_is_free():
    repair = make.past_repair(make.fault(), make.fix(), on=DAY)
    repair.note = "went well"
    repair.save()
    assert days(repair.job) == [DAY]
