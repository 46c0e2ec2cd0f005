"""What a return is: decided here, and nowhere else."""

from repairs.jobs import states, workflow
from repairs.jobs.models import Comeback, Job, Repair, ReturnAssessment
from shopdesk.errors import RefusedError
from shopdesk.staff.models import Role, User
from shopdesk.stamp import Stamp

MAX_NOTE = 4000


def assess_return(
    job: Job,
    *,
    earlier: Repair,
    assessment: str,
    is_in_warranty: bool,
    stamp: Stamp,
    why: str = "",
    version: int | None = None,
) -> ReturnAssessment:
    """Say what a return is, which earlier repair it belongs to, and who pays.

    The counter may only propose (`UNDECIDED`): the bench decides, after it has verified
    the complaint. The same fault is then on the job, with what was noted of it.

    A later decision takes the place of an earlier one; both stay on record. Raises
    StaleError where the job has changed since `version`.
    """
    with workflow.locked_for_change(job, version=version, stamp=stamp):
        _check_earlier(earlier, job=job)
        if is_in_warranty and assessment not in (states.SAME_FAULT, states.UNDECIDED):
            raise RefusedError("Only the same fault can be in warranty.")
        if assessment != states.UNDECIDED:
            _check_may_decide(job, stamp=stamp)
        was_free = job.approved_warranty_repair
        decision = ReturnAssessment.objects.create(
            job=job,
            earlier=earlier,
            assessment=assessment,
            is_in_warranty=is_in_warranty,
            why=why,
            by=stamp.by,
            assessed_on=stamp.on,
        )
        if assessment == states.SAME_FAULT:
            _carry_over(earlier, job=job, stamp=stamp)
        if was_free and not job.needs_no_quote:
            _revoke_warranty(job, stamp=stamp)
        Comeback.objects.write(job)
        return decision


def may_decide(job: Job, *, user: User | None) -> bool:
    """Whether the user may say what the return is, and not only propose."""
    is_counter = user is not None and user.role == Role.COUNTER
    return not is_counter and job.is_verified


def _check_may_decide(job: Job, *, stamp: Stamp) -> None:
    if may_decide(job, user=stamp.by):
        return
    if job.is_verified:
        raise RefusedError("The bench decides what a return is.")
    raise RefusedError(
        "Verify the complaint at the bench first: before, nobody knows what this"
        " return is."
    )


def _carry_over(earlier: Repair, *, job: Job, stamp: Stamp) -> None:
    """Add the fault that is back to the job, with the notes of the earlier repair."""
    is_there = job.repairs.filter(fault=earlier.fault).exists()
    if job.state not in states.IN_DIAGNOSIS or is_there:
        return
    note = f"Job {earlier.job.number}: {earlier.note}"[:MAX_NOTE]
    job.repairs.create(
        fault=earlier.fault, note=note if earlier.note else "", by=stamp.by
    )


def _check_earlier(earlier: Repair, *, job: Job) -> None:
    """Refuse a repair that the job cannot be a return of."""
    done = earlier.job
    if done.pk == job.pk:
        raise RefusedError("A job cannot be its own return.")
    if done.device_id != job.device_id:
        raise RefusedError("That repair was done on another device.")
    if done.handed_over_on is None:
        raise RefusedError(f"Job {done.number} was not handed over yet.")
    if done.handed_over_on > job.booked_in_on:
        raise RefusedError(
            f"Job {done.number} was handed over after this one was booked in."
        )
    if _is_return_of(done, job):
        raise RefusedError(f"Job {done.number} is itself a return of this one.")


def _is_return_of(job: Job, other: Job) -> bool:
    """Whether `job` is, over any number of returns, a return of `other`."""
    passed: set[int] = set()
    while job.pk not in passed and job.decision is not None:
        passed.add(job.pk)
        job = job.decision.earlier.job
        if job.pk == other.pk:
            return True
    return False


def _revoke_warranty(job: Job, *, stamp: Stamp) -> None:
    """Without warranty nobody has said yes to the work: the customer must be asked."""
    if job.state == states.APPROVED:
        workflow.revise(job, stamp=stamp, why="not a warranty repair")
    elif job.state != states.HANDED_OVER:
        raise RefusedError(
            "The work was started as a warranty repair and the job is"
            f" {job.get_state_display()}. Send it back to repair first, then reassess"
            " the return."
        )
