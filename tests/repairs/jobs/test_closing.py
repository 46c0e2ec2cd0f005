"""What keeps a job from being closed, beyond what the bench page shows."""

import pytest
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.models import NotYet
from tests import make

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "outcome", [states.NOT_FIXED, states.NO_FAULT_FOUND, states.NOT_REPAIRABLE]
)
def test_not_repaired_is_refused_while_a_fault_is_marked_fixed(outcome):
    job = make.job(state=states.APPROVED)
    make.repair(job, outcome=states.NOT_FIXED)
    fixed = make.repair(job, fix=make.fix(), outcome=states.FIXED, declared="lasting")
    with pytest.raises(NotYet, match="marked fixed"):
        job.close(outcome=outcome, by=None, why="The board is cracked.")
    job.refresh_from_db()
    assert job.state == states.APPROVED
    fixed.outcome = states.NOT_FIXED
    fixed.save()
    job.close(outcome=outcome, by=None, why="The board is cracked.")
    assert (job.state, job.outcome) == (states.READY, outcome)


def test_fixed_is_refused_where_every_fault_was_given_up():
    job = make.job(state=states.TESTED)
    make.repair(job, outcome=states.NOT_REPAIRABLE)
    with pytest.raises(NotYet, match="No fault of this job is fixed"):
        job.close(outcome=states.FIXED, by=None)
    job.refresh_from_db()
    assert job.state == states.TESTED


@pytest.fixture
def under_test():
    """A repair that needs 5 clean tries, on a job that waits for them."""
    job = make.job(state=states.REPAIRED)
    return make.repair(job, fix=make.fix(), declared="lasting")


def run(repair, tries, failed=0):
    repair.final_tests.create(
        tries=tries, failed=failed, needed=5, run_at=timezone.now()
    )


def test_tries_before_a_failure_count_for_nothing(under_test):
    """Even where a failed run stands and the job was not taken back to the bench."""
    run(under_test, 4)
    run(under_test, 6, failed=1)
    run(under_test, 4)
    with pytest.raises(NotYet, match="4 clean tries of the 5"):
        under_test.job.prove(by=None)
    run(under_test, 1)
    under_test.job.prove(by=None)
    assert under_test.job.state == states.TESTED
