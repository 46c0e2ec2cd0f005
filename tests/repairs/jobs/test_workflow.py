from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from repairs.jobs import states, workflow
from repairs.jobs.models import Job
from shopdesk.errors import InvalidTransitionError, RefusedError
from tests import make

pytestmark = pytest.mark.django_db


def test_every_step_leaves_a_row_of_from_to_who_and_why():
    who, repair = make.user(), make.repair()
    job = repair.job
    workflow.diagnose(job, stamp=make.stamp(by=who))
    workflow.close(
        job,
        outcome=states.NOT_REPAIRABLE,
        why="Board cracked through.",
        stamp=make.stamp(by=who),
    )
    rows = job.transitions.values_list("from_state", "to_state", "by", "why")
    assert list(rows) == [
        ("booked_in", "diagnosed", who.pk, ""),
        ("diagnosed", "ready", who.pk, "Board cracked through."),
    ]
    assert job.version == 3


# Written out by hand, since a test that read the program's own table would agree with
# whatever stood there.
STEPS = {
    "expected": ["booked_in"],
    "booked_in": ["diagnosed", "ready"],
    "diagnosed": ["approved", "quoted", "ready"],
    "quoted": ["approved", "declined", "diagnosed"],
    "approved": ["diagnosed", "ready", "repaired"],
    "declined": ["diagnosed", "ready"],
    "repaired": ["approved", "tested"],
    "tested": ["approved", "ready"],
    "ready": ["approved", "diagnosed", "handed_over"],
    "handed_over": [],
}


@pytest.mark.parametrize("old", STEPS)
def test_only_these_steps_can_be_made(old):
    device, made = make.device(), []
    facts = {"state": old}
    if old in ("ready", "handed_over"):
        facts["outcome"] = states.FIXED
    if old == "handed_over":
        facts["handed_over_on"] = make.DAY
    for new in STEPS:
        job = make.job(device, **facts)
        changes = {}
        if new == "handed_over":
            changes["handed_over_on"] = make.DAY
        if new in ("ready", "handed_over"):
            changes["outcome"] = states.FIXED
        try:
            workflow.transition(job, new, stamp=make.stamp(), **changes)
        except InvalidTransitionError:
            job.refresh_from_db()
            assert job.state == old and not job.transitions.exists()
        else:
            assert job.state == new
            made.append(new)
    assert sorted(made) == STEPS[old]


def test_every_state_is_tried():
    assert set(states.LABELS) == set(STEPS)


def test_a_step_is_judged_by_the_database_and_not_by_an_old_page():
    job = make.repair().job
    stale = Job.objects.get(pk=job.pk)
    workflow.diagnose(job, stamp=make.stamp())
    with pytest.raises(InvalidTransitionError):
        workflow.diagnose(stale, stamp=make.stamp())


def test_closing_is_refused_with_a_sentence_while_something_is_missing():
    part = make.part(on_hand=3)
    fault = make.fault(code="PWR-JACK")
    fix = make.fix(fault)
    fix.usual_parts.create(part=part)
    repair = make.repair(make.job(state=states.TESTED), fault, fix=fix)
    job = repair.job

    def refusal():
        with pytest.raises(RefusedError) as refused:
            workflow.close(job, outcome=states.FIXED, stamp=make.stamp())
        return str(refused.value)

    assert refusal() == (
        "PWR-JACK: select the outcome. PWR-JACK: this fix usually needs a part and"
        " none is booked. Book it, or tick “No parts needed”. PWR-JACK: no final test"
        " yet."
    )
    repair.outcome, repair.fix_type = states.FIXED, "lasting"
    repair.save()
    assert "needs a part and none is booked" in refusal()
    repair.parts_used.create(part=part)
    assert refusal() == "PWR-JACK: no final test yet."
    job.refresh_from_db()
    assert job.state == states.TESTED and job.outcome == ""


def test_a_finished_job_must_say_what_came_of_it():
    with pytest.raises(IntegrityError), transaction.atomic():
        make.job(state=states.READY, outcome="")


def test_a_device_cannot_leave_before_it_came():
    job = make.job(state=states.READY, outcome=states.FIXED)
    with pytest.raises(RefusedError):
        workflow.hand_over(
            job, stamp=make.stamp(on=make.DAY - timedelta(days=1)), shop=make.shop()
        )
    job.refresh_from_db()
    assert job.state == states.READY


def test_handing_back_starts_cover_from_that_day():
    make.shop(warranty_days_lasting=180)
    repair = make.repair(
        make.job(state=states.READY, outcome=states.FIXED),
        fix=make.fix(),
        outcome=states.FIXED,
        fix_type="lasting",
    )
    workflow.hand_over(repair.job, stamp=make.stamp(on=make.DAY), shop=make.shop())
    repair.refresh_from_db()
    assert repair.warranty_until == make.DAY + timedelta(days=180)


def test_without_cover_nobody_can_approve_work_that_was_not_quoted():
    repair = make.repair()
    workflow.diagnose(repair.job, stamp=make.stamp())
    with pytest.raises(RefusedError):
        workflow.approve(repair.job, stamp=make.stamp())


def test_a_covered_comeback_is_approved_without_a_quote():
    earlier = make.past_repair(make.fault(), make.fix(), on=make.DAY)
    again = make.comeback(earlier, on=make.DAY + timedelta(days=9)).job
    make.repair(again, earlier.fault)
    workflow.diagnose(again, stamp=make.stamp())
    workflow.approve(again, stamp=make.stamp())
    assert again.state == states.APPROVED
