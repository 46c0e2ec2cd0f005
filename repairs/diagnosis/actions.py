"""Results of bench checks: recorded, changed, removed."""

from django.db import transaction

from repairs.faults.models import Check
from repairs.jobs import states
from repairs.jobs.models import CheckResult, Job
from shopdesk.errors import IncompleteError, InvalidTransitionError
from shopdesk.stamp import Stamp


@transaction.atomic
def record_result(job: Job, *, check: Check, result: str, stamp: Stamp) -> None:
    """Record what a check showed on a job at the bench; empty removes the result."""
    state = Job.objects.select_for_update().only("state").get(pk=job.pk)
    if state.state not in states.AT_THE_BENCH:
        raise InvalidTransitionError(
            f"The job is {state.get_state_display()}: no check can be recorded now."
        )
    found = CheckResult.objects.filter(job=job, check_made=check).first()
    if not result:
        if found is not None:
            found.delete()
        return
    if result not in check.result_options:
        raise IncompleteError(f"{check} has no such result. Select one that it lists.")
    found = found or CheckResult(job=job, check_made=check)
    found.result, found.by, found.made_at = result, stamp.by, stamp.at
    found.save()
