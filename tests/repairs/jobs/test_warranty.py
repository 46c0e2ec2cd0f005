"""The warranty of a repair is one rule: at handover, before it, and for past jobs."""

from datetime import date, timedelta

import pytest

from repairs.jobs import states, warranty, workflow
from repairs.jobs.models import Job
from tests import make

DAY = date(2026, 3, 2)


def days(n):
    return timedelta(days=n)


def test_a_new_warranty_counts_from_the_day_of_handover():
    promise = warranty.promise(DAY, days=30, min_days=90)
    assert promise == warranty.Promise(30, DAY + days(30))


@pytest.mark.parametrize(("left", "promised"), [(50, 50), (30, 30), (29, 30), (-5, 30)])
def test_a_warranty_repair_gets_the_rest_of_the_old_one_but_the_shop_s_least(
    left, promised
):
    old = DAY + days(left)
    promise = warranty.promise(DAY, days=180, continued_until=old, min_days=30)
    assert promise == warranty.Promise(promised, DAY + days(promised))


@pytest.mark.parametrize(
    ("own", "of_fix", "expected"),
    [(7, 60, 7), (0, 60, 0), (None, 60, 60), (None, 0, 0)],
)
@pytest.mark.django_db
def test_what_was_agreed_goes_first_then_the_fix_then_the_shop(own, of_fix, expected):
    shop = make.shop(warranty_days_lasting=180)
    fix = make.fix(warranty_days=of_fix)
    repair = make.repair(fix=fix, fix_type="lasting", warranty_days=own)
    assert repair.promise(on=DAY, shop=shop, decision=None).days == expected
    repair = make.repair(fix=make.fix(), fix_type="lasting")
    assert repair.promise(on=DAY, shop=shop, decision=None).days == 180


@pytest.mark.parametrize(
    ("assessment", "is_in_warranty", "until"),
    [
        (states.SAME_FAULT, True, 30),
        (states.SAME_FAULT, False, 180),
        # Only the same fault continues a warranty, whatever the dates said.
        (states.UNDECIDED, True, 180),
        (states.NEW_FAULT, False, 180),
    ],
)
@pytest.mark.django_db
def test_only_a_warranty_repair_continues_the_earlier_warranty(
    assessment, is_in_warranty, until
):
    shop = make.shop(warranty_days_lasting=180, warranty_days_minimum=30)
    earlier = make.past_repair(
        make.fault(), make.fix(), on=DAY, warranty_until=DAY + days(20)
    )
    job = make.job(earlier.job.device, on=DAY, state=states.READY, outcome=states.FIXED)
    make.decision(job, earlier, assessment=assessment, is_in_warranty=is_in_warranty)
    facts = {"outcome": states.FIXED, "fix_type": "lasting"}
    repair = make.repair(job, earlier.fault, fix=earlier.fix, **facts)
    job = Job.objects.get(pk=job.pk)
    before = repair.promise(on=DAY, shop=shop, decision=job.decision)
    workflow.hand_over(job, stamp=make.stamp(on=DAY), shop=shop)
    repair.refresh_from_db()
    assert repair.warranty_until == before.until == DAY + days(until)
    assert repair.warranty_days == until
