"""Today: the jobs that need attention."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.db.models import OuterRef, Q, Subquery
from django.shortcuts import render
from django.utils import timezone

from billing.quotes import states as quote_states
from billing.quotes.models import Quote
from repairs.jobs import states
from repairs.jobs.models import Job, JobTransition, ReturnAssessment
from repairs.stock.models import Part
from shopdesk.keeping.models import VerifiedBackup
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import can_open, can_see_costs

MAX_BACKUP_AGE = timedelta(days=2)


@dataclass
class Group:
    """Jobs that need the same action; `url_name` is the page for it, if any."""

    name: str
    url_name: str = ""
    action_label: str = ""
    jobs: list[Job] = field(default_factory=list)


def today(request):
    """List each job that needs attention once, under its most pressing reason."""
    on = timezone.localdate()
    groups = {
        "return": Group("Returns to assess", "returns:assess", "Assess return"),
        "overdue": Group("Overdue"),
        "quoted": Group("Quotes awaiting reply"),
        "parts": Group("Waiting for parts"),
        "ready": Group("Ready to hand over", "handover:hand_over", "Hand over"),
        "expected": Group(
            "Expected by post", "intake:record_arrival", "Record arrival"
        ),
    }
    for job in jobs_needing_attention(on=on):
        job.days_late = (on - job.due_on).days if is_overdue(job, on=on) else 0
        job.is_expired = job.offer_until is not None and job.offer_until < on
        groups[attention_reason(job, on=on)].jobs.append(job)
    for group in groups.values():
        if not can_open(request.user, group.url_name):
            group.url_name = ""
    shown = [group for group in groups.values() if group.jobs]
    return render(
        request,
        "shopdesk/front/today.html",
        {
            "groups": shown,
            "parts_without_cost": Part.objects.without_cost().count()
            if can_see_costs(request.user, request.shop)
            else 0,
            "count": sum(len(group.jobs) for group in shown),
            "backup": backup_age(now=timezone.now())
            if request.user.role == Role.OWNER
            else None,
        },
    )


@dataclass(frozen=True)
class BackupAge:
    """When the last verified backup was taken; None if there is none."""

    taken_at: datetime | None
    is_old: bool


def backup_age(*, now: datetime) -> BackupAge:
    last = VerifiedBackup.objects.last()
    if last is None:
        return BackupAge(None, is_old=True)
    return BackupAge(last.taken_at, is_old=now - last.taken_at > MAX_BACKUP_AGE)


def jobs_needing_attention(*, on):
    """Return the open jobs that need attention, with all that a row shows."""
    decisions = ReturnAssessment.objects.filter(job=OuterRef("pk")).order_by("-id")
    offers = Quote.objects.filter(job=OuterRef("pk"), state=quote_states.SENT)
    steps = JobTransition.objects.filter(job=OuterRef("pk")).order_by("-id")
    jobs = Job.objects.open().for_list()
    jobs = jobs.annotate(
        return_is=Subquery(decisions.values("assessment")[:1]),
        return_covered=Subquery(decisions.values("is_in_warranty")[:1]),
        return_of=Subquery(decisions.values("earlier__job__number")[:1]),
        offer_sent=Subquery(offers.order_by("-id").values("sent_at")[:1]),
        offer_until=Subquery(offers.order_by("-id").values("valid_until")[:1]),
        moved_at=Subquery(steps.values("made_at")[:1]),
    )
    return jobs.filter(
        Q(state__in=[states.EXPECTED, states.QUOTED, states.READY])
        | Q(waiting_for=Job.WaitingFor.PARTS)
        | Q(due_on__lt=on)
        | Q(return_is=states.UNDECIDED)
    ).order_by("due_on", "booked_in_on", "id")


def is_overdue(job, *, on):
    is_done = job.state in (states.READY, states.HANDED_OVER)
    return job.due_on is not None and job.due_on < on and not is_done


def attention_reason(job, *, on):
    """Return the group that a job is listed under."""
    if job.state == states.EXPECTED:
        return "expected"
    if job.return_is == states.UNDECIDED:
        return "return"
    if job.state == states.READY:
        return "ready"
    if is_overdue(job, on=on):
        return "overdue"
    return "quoted" if job.state == states.QUOTED else "parts"
