"""What is missing before a job can be closed, asked in one place."""

import pytest

from repairs.jobs import closing, states, workflow
from repairs.jobs.models import Job
from shopdesk.errors import IncompleteError
from tests import make

pytestmark = pytest.mark.django_db

NOT_REPAIRED = ("not_fixed", "no_fault_found", "not_repairable")


def two_repairs(state, **facts):
    job = make.job(state=state)
    fault = make.fault(code="PWR-JACK")
    make.repair(job, fault, fix=make.fix(fault), **facts)
    make.repair(job, make.fault(code="FAN-DEAD"), outcome=states.NOT_FIXED)
    return Job.objects.get(pk=job.pk)


@pytest.mark.parametrize("outcome", NOT_REPAIRED)
def test_a_job_with_a_fault_marked_fixed_is_not_closed_without_repair(outcome):
    job = two_repairs(states.TESTED, outcome=states.FIXED, fix_type="lasting")
    why = "A fault is marked as fixed. Close the job as fixed."
    assert closing.missing(job, outcome, why="It hums.") == [why]
    with pytest.raises(IncompleteError, match=why):
        workflow.close(job, outcome=outcome, why="It hums.", stamp=make.stamp())
    job.refresh_from_db()
    assert job.state == states.TESTED and job.outcome == ""
    job.repairs.filter(outcome=states.FIXED).update(outcome="")
    workflow.close(job, outcome=outcome, why="It hums.", stamp=make.stamp())
    assert set(job.repairs.values_list("outcome", flat=True)) == {"not_fixed", outcome}


def test_without_repair_a_reason_is_needed():
    job = two_repairs(states.APPROVED)
    missing = closing.missing(job, states.NOT_REPAIRABLE, why="  ")
    assert missing == ["Enter a reason."]
    assert closing.missing(job, states.DECLINED_BY_CUSTOMER) == []


def test_a_job_without_fault_or_without_a_fixed_one_is_not_closed_as_fixed():
    job = make.job(state=states.TESTED)
    assert closing.missing(job) == ["No diagnosis yet: add a fault."]
    job = two_repairs(states.TESTED, outcome=states.NOT_FIXED)
    assert closing.missing(job) == ["No fault is fixed: close without repair."]


def test_each_repair_says_what_it_lacks_and_one_given_up_lacks_nothing():
    job = two_repairs(states.TESTED)
    assert closing.missing(job) == [
        "PWR-JACK: select the outcome.",
        "PWR-JACK: no final test yet.",
    ]
    job.repairs.update(fix=None)
    repair = job.repairs.get(outcome="")
    assert "PWR-JACK: select the fix." in closing.missing_of(repair)


@pytest.mark.parametrize("outcome", [*NOT_REPAIRED, states.FIXED, "declined"])
def test_a_return_not_assessed_holds_up_every_closing(outcome):
    earlier = make.past_repair(make.fault(), make.fix(), on=make.DAY)
    job = make.comeback(earlier, on=make.DAY, assessment=states.UNDECIDED).job
    tasks = closing.missing(job, outcome, why="because")
    assert tasks[0] == "Assess the return first."
