"""Today: what each role is to do next."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import OuterRef, Subquery
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from billing.quotes import states as quote_states
from billing.quotes.models import Quote
from repairs.bench import next_step as steps
from repairs.bench import queue
from repairs.faults.models import Fault
from repairs.jobs.models import Job, Repair
from repairs.returns.forms import StopgapAnswerForm
from repairs.stock.models import Part
from shopdesk.keeping.models import VerifiedBackup
from shopdesk.shop.models import Shop
from shopdesk.staff.models import Role, User
from shopdesk.staff.permissions import can_see_costs

MAX_BACKUP_AGE = timedelta(days=2)


MAX_ROWS = 30
"""Jobs of one group that are shown; the list of the bench has all."""


@dataclass(frozen=True)
class GroupType:
    """Jobs that need the same; `url_name` is the page for it, else the job's own."""

    name: str
    url_name: str = ""


TYPES = {
    queue.OVERDUE: GroupType(gettext_lazy("Overdue")),
    queue.ASSESS: GroupType(gettext_lazy("Returns to assess"), "returns:assess"),
    queue.START: GroupType(gettext_lazy("Start now")),
    queue.TEST: GroupType(gettext_lazy("Test")),
    queue.CLOSE: GroupType(gettext_lazy("Close")),
    queue.QUOTE: GroupType(gettext_lazy("Write the quote"), "quotes:for_job"),
    queue.WAITING: GroupType(gettext_lazy("Waiting")),
    queue.READY: GroupType(gettext_lazy("Ready to hand over"), "handover:hand_over"),
    queue.EXPECTED: GroupType(
        gettext_lazy("Expected by post"), "intake:record_arrival"
    ),
}
AT_THE_BENCH = (queue.OVERDUE, queue.START, queue.TEST, queue.CLOSE)
OF_ROLE = {
    Role.BENCH: (*AT_THE_BENCH, queue.ASSESS, queue.QUOTE, queue.WAITING),
    Role.COUNTER: (
        *(queue.READY, queue.WAITING, queue.QUOTE),
        *(queue.EXPECTED, queue.OVERDUE),
    ),
    Role.OWNER: tuple(TYPES),
}
"""The groups that each role sees, in the order in which it works through them."""


@dataclass
class Group:
    type: GroupType
    jobs: list[Job] = field(default_factory=list)

    @property
    def shown(self) -> list[Job]:
        return self.jobs[:MAX_ROWS]

    @property
    def hidden_count(self) -> int:
        return max(0, len(self.jobs) - MAX_ROWS)


def today(request):
    """Show what the user's role is to do next: each job once, with its next step."""
    on = timezone.localdate()
    groups = queue_of(request.user, on=on)
    return render(
        request,
        "shopdesk/front/today.html",
        {
            "groups": groups,
            "stopgaps": stopgaps_of(request.user, on=on),
            "parts_without_cost": Part.objects.without_cost().count()
            if can_see_costs(request.user, request.shop)
            else 0,
            "first_steps": first_steps(request.shop)
            if request.user.role == Role.OWNER
            else [],
            "count": sum(len(group.jobs) for group in groups),
            "backup": backup_age(now=timezone.now())
            if request.user.role == Role.OWNER
            else None,
        },
    )


@dataclass(frozen=True)
class FirstStep:
    """What the owner of a new shop does once; `url` leads to its page."""

    text: str
    url: str
    is_done: bool


def first_steps(shop: Shop) -> list[FirstStep]:
    """Return what is to be done before the first invoice; empty once there is a job."""
    if shop.set_up_on and Job.objects.exists():
        return []
    has = {
        "shop:set_up": shop.set_up_on is not None,
        "staff:add": User.objects.count() > 1,
        "faults:starter": Fault.objects.exists(),
        "intake:book_in": Job.objects.exists(),
    }
    texts = {
        "shop:set_up": gettext("Set up the shop: country, address, tax, prices"),
        "staff:add": gettext("Add staff, if you do not work alone"),
        "faults:starter": gettext(
            "Fill the fault book, from the starter book or your own"
        ),
        "intake:book_in": gettext("Book in the first job"),
    }
    return [FirstStep(texts[name], reverse(name), has[name]) for name in texts]


def queue_of(user, *, on: date) -> list[Group]:
    """Return the groups of the user's role that are not empty, their own jobs first."""
    groups = {name: Group(TYPES[name]) for name in OF_ROLE[user.role]}
    for job in queue.queued_jobs().annotate(**OFFER):
        group = groups.get(queue.group_of(job, on=on))
        if group is None:
            continue
        job.days_late = (on - job.due_on).days if queue.is_overdue(job, on=on) else 0
        job.age = (on - job.booked_in_on).days
        job.is_expired = job.offer_until is not None and job.offer_until < on
        job.technician = queue.technician_of(job)
        job.step = steps.IN_A_LIST.get(queue.step_of(job).control, "")
        name = group.type.url_name
        url = reverse(name, args=[job.pk]) if name else job.get_absolute_url()
        job.step_url = url
        group.jobs.append(job)
    for group in groups.values():
        group.jobs.sort(key=lambda job: job.assigned_to_id != user.pk)
    return [group for group in groups.values() if group.jobs]


def stopgaps_of(user, *, on: date) -> list[StopgapAnswerForm]:
    """Return the forms for the stopgaps of which the user is to ask how they hold."""
    if user.role == Role.COUNTER:
        return []
    due = Repair.objects.to_ask_about(on=on).order_by("ask_on", "pk")[:MAX_ROWS]
    return [StopgapAnswerForm(repair=repair, on=on) for repair in due]


_sent = Quote.objects.filter(job=OuterRef("pk"), state=quote_states.SENT)
_sent = _sent.order_by("-id")
OFFER = {
    "offer_sent": Subquery(_sent.values("sent_at")[:1]),
    "offer_until": Subquery(_sent.values("valid_until")[:1]),
}


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
