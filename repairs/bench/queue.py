"""The queue: open jobs by what is to be done next, and the jobs that were finished."""

from datetime import date, datetime, time, timedelta

from django.db.models import Exists, F, OuterRef, Subquery
from django.utils import timezone

from repairs.bench import next_step as steps
from repairs.jobs import states
from repairs.jobs.models import (
    Job,
    JobTransition,
    Labour,
    Repair,
    ReturnAssessment,
)

OVERDUE, START, TEST, CLOSE, QUOTE, ASSESS, WAITING, READY, EXPECTED = GROUPS = (
    *("overdue", "start", "test", "close", "quote"),
    *("assess", "waiting", "ready", "expected"),
)
OF_CONTROL = {
    steps.ASSESS: ASSESS,
    steps.QUOTE: QUOTE,
    steps.TEST: TEST,
    steps.COMPLETE_TEST: TEST,
    steps.CLOSE: CLOSE,
    steps.CLOSE_DECLINED: CLOSE,
}


def queued_jobs():
    """The open jobs with all that a row of a queue shows, the most urgent first."""
    job = OuterRef("pk")
    repairs = Repair.objects.filter(job=job)
    running = Labour.objects.running().filter(job=job)
    worked = Labour.objects.filter(job=job).order_by("-id")
    decisions = ReturnAssessment.objects.filter(job=job).order_by("-id")
    moves = JobTransition.objects.filter(job=job).order_by("-id")
    return (
        Job.objects.open()
        .for_list()
        .select_related("assigned_to")
        .annotate(
            timer_by=Subquery(running.values("by__name")[:1]),
            timer_since=Subquery(running.values("started_at")[:1]),
            taken_by=Subquery(worked.values("by__name")[:1]),
            return_is=Subquery(decisions.values("assessment")[:1]),
            return_covered=Subquery(decisions.values("is_in_warranty")[:1]),
            return_fault=Subquery(decisions.values("earlier__fault")[:1]),
            return_of=Subquery(decisions.values("earlier__job__number")[:1]),
            moved_at=Subquery(moves.values("made_at")[:1]),
            has_fault=Exists(repairs),
            has_covered=Exists(repairs.filter(fault=OuterRef("return_fault"))),
            has_chargeable=Exists(
                repairs.filter(outcome__in=["", states.FIXED]).exclude(
                    fault=OuterRef("return_fault")
                )
            ),
            lacks_fix=Exists(repairs.filter(fix=None, outcome__in=["", states.FIXED])),
            has_symptoms=Exists(Job.symptoms.through.objects.filter(job=job)),
        )
        .order_by(F("due_on").asc(nulls_last=True), "booked_in_on", "id")
    )


def step_of(job: Job) -> steps.NextStep:
    """Return the next step of a job of the queue."""
    has_findings = job.verified_tries or job.bench_notes or job.has_symptoms
    return steps.next_step(
        job.state,
        hazard=steps.hazard_of(job),
        has_findings=bool(has_findings),
        has_fault=job.has_fault,
        is_undecided=job.return_is == states.UNDECIDED,
        is_warranty_repair=needs_no_quote(job),
        covered_may_begin=covered_may_begin(job),
        needs_disconnecting=False,
        has_fixes=not job.lacks_fix,
        tries_to_go=1,
    )


def needs_no_quote(job: Job) -> bool:
    """`Job.needs_no_quote` by the columns of the queue."""
    return _is_covered(job) and not (job.has_covered and job.has_chargeable)


def covered_may_begin(job: Job) -> bool:
    """`Job.may_work_on` of a quoted job, by the columns of the queue."""
    is_quoted = job.state == states.QUOTED
    return is_quoted and _is_covered(job) and job.has_fault


def _is_covered(job: Job) -> bool:
    return job.return_is == states.SAME_FAULT and bool(job.return_covered)


def technician_of(job: Job) -> str:
    """Return who is to do it, else who last worked on it."""
    return str(job.assigned_to) if job.assigned_to_id else job.taken_by or ""


def is_overdue(job: Job, *, on: date) -> bool:
    is_done = job.state in (states.READY, states.HANDED_OVER)
    return job.due_on is not None and job.due_on < on and not is_done


def group_of(job: Job, *, on: date) -> str:
    """Return the group of the queue in which a job stands, each in one."""
    if job.state == states.EXPECTED:
        return EXPECTED
    if job.state == states.READY:
        return READY
    if is_overdue(job, on=on):
        return OVERDUE
    is_quoted = job.state == states.QUOTED and not covered_may_begin(job)
    if job.waiting_for or is_quoted:
        return WAITING
    return OF_CONTROL.get(step_of(job).control, START)


def finished_jobs(*, on: date):
    """The jobs that the bench closed on that day, each with who closed it when."""
    start = timezone.make_aware(datetime.combine(on, time.min))
    end = timezone.make_aware(datetime.combine(on + timedelta(days=1), time.min))
    closed = JobTransition.objects.filter(
        to_state=states.READY, made_at__gte=start, made_at__lt=end
    )
    latest = closed.filter(job=OuterRef("pk")).order_by("-id")
    return (
        Job.objects.filter(pk__in=closed.values("job"))
        .for_list()
        .annotate(
            closed_at=Subquery(latest.values("made_at")[:1]),
            closed_by=Subquery(latest.values("by__name")[:1]),
        )
    )
