"""The front door: what needs a hand today, and one box that finds anything."""

import re
from dataclasses import dataclass, field

from django import forms
from django.db.models import OuterRef, Q, Subquery
from django.shortcuts import redirect, render
from django.utils import timezone

from billing.quotes import states as quote_states
from billing.quotes.models import Quote
from repairs.customers import serials
from repairs.customers.fields import TidyField, phone_of
from repairs.customers.models import Customer, Device
from repairs.jobs import states
from repairs.jobs.models import Job, ReturnDecision, Step
from repairs.jobs.numbers import from_label
from repairs.stock.models import Part
from shopdesk.shop.models import Shop
from shopdesk.staff.middleware import may

# --- Today ------------------------------------------------------------------


@dataclass
class Group:
    """Jobs that need the same hand; `door` is where that hand is given."""

    name: str
    door: str
    word: str
    jobs: list[Job] = field(default_factory=list)


def today(request):
    """What needs a hand now. Each job stands once, where it needs one most."""
    on = timezone.localdate()
    groups = {
        "return": Group("Returns to decide", "returns:decide", "Decide"),
        "overdue": Group("Promised and overdue", "", ""),
        "quoted": Group("Quotes waiting for an answer", "", ""),
        "parts": Group("Waiting on parts", "", ""),
        "ready": Group("Ready to hand back", "handback:hand_back", "Hand back"),
        "expected": Group("Expected by post", "intake:arrive", "It has arrived"),
    }
    for job in needing_a_hand(on=on):
        job.days_late = (on - job.promised_on).days if is_overdue(job, on=on) else 0
        job.has_run_out = job.offer_until is not None and job.offer_until < on
        groups[need_of(job, on=on)].jobs.append(job)
    for group in groups.values():
        if not may(request.user, group.door):
            group.door = ""
    shown = [group for group in groups.values() if group.jobs]
    facts = {"groups": shown, "count": sum(len(group.jobs) for group in shown)}
    return render(request, "shopdesk/today.html", facts)


def needing_a_hand(*, on):
    """The open jobs that somebody should look at, with all that a row shows."""
    decisions = ReturnDecision.objects.filter(job=OuterRef("pk")).order_by("-id")
    offers = Quote.objects.filter(job=OuterRef("pk"), state=quote_states.SENT)
    steps = Step.objects.filter(job=OuterRef("pk")).order_by("-id")
    jobs = Job.objects.open().for_rows()
    jobs = jobs.annotate(
        return_is=Subquery(decisions.values("what")[:1]),
        return_covered=Subquery(decisions.values("is_covered")[:1]),
        return_of=Subquery(decisions.values("earlier__job__number")[:1]),
        offer_sent=Subquery(offers.order_by("-id").values("sent_at")[:1]),
        offer_until=Subquery(offers.order_by("-id").values("valid_until")[:1]),
        moved_at=Subquery(steps.values("made_at")[:1]),
    )
    return jobs.filter(
        Q(state__in=[states.EXPECTED, states.QUOTED, states.READY])
        | Q(waiting_on=Job.WaitingOn.PARTS)
        | Q(promised_on__lt=on)
        | Q(return_is=states.UNDECIDED)
    ).order_by("promised_on", "booked_in_on", "id")


def is_overdue(job, *, on):
    is_done = job.state in (states.READY, states.HANDED_BACK)
    return job.promised_on is not None and job.promised_on < on and not is_done


def need_of(job, *, on):
    """The one need by which a job stands on the board."""
    if job.state == states.EXPECTED:
        return "expected"
    if job.return_is == states.UNDECIDED:
        return "return"
    if job.state == states.READY:
        return "ready"
    if is_overdue(job, on=on):
        return "overdue"
    return "quoted" if job.state == states.QUOTED else "parts"


# --- the find box -----------------------------------------------------------

SOME = 20
"""Of each kind shown; more words find fewer."""
OUR_LABEL = re.compile(r"\d{2}-\d{5,}-[0-9A-Z]", re.ASCII)


class FindForm(forms.Form):
    q = TidyField(
        label="Number, name, phone, serial or part",
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )


@dataclass
class Found:
    """Records of one kind that the words may mean."""

    name: str
    records: list
    is_cut: bool = False


def find(request):
    """Straight to the one thing that is exactly meant, else what it may be."""
    form = FindForm(request.GET if "q" in request.GET else None)
    if not form.is_valid():
        return render(request, "shopdesk/find.html", {"form": form})
    words = form.cleaned_data["q"]
    scanned = as_scanned(words)
    exact = exact_hits(words, scanned=scanned, country=Shop.current().country)
    if len(exact) == 1:
        return redirect(exact[0])
    is_misread = bool(OUR_LABEL.fullmatch(scanned)) and not from_label(scanned)
    facts = {
        "form": form,
        "find_text": words,
        "is_misread": is_misread and not exact,
        "groups": [] if is_misread and not exact else possible_hits(words),
    }
    return render(request, "shopdesk/find.html", facts)


def as_scanned(words):
    """As the label has it, whatever the keyboard made of the dash between."""
    return words.replace("ß", "-").replace("'", "-").upper()


def exact_hits(words, *, scanned, country):
    """What has exactly this number, serial, phone, mail or whole name."""
    number = from_label(scanned) if OUR_LABEL.fullmatch(scanned) else None
    jobs = Job.objects.numbered(words)
    jobs = list(jobs[:2]) or list(Job.objects.filter(number=number)[:2])
    if jobs:
        # A number that we gave is meant as such, whatever else it may be.
        return jobs
    parts = Part.objects.filter(Q(number__iexact=words) | Q(maker_number__iexact=words))
    phone = phone_of(words, country=country)
    people = Customer.objects.like(name=words, phone=phone, email=words)
    devices = Device.objects.with_serial(words).select_related("model")
    return [*devices[:2], *parts[:2], *people[:2]]


def possible_hits(words):
    """What these words may mean, by kind."""
    serial = serials.key(words)
    jobs = Job.objects.filter(number__icontains=words).for_rows()
    people = Customer.objects.called(words).with_last_visit()
    devices = Device.objects.none()
    if len(serial) >= 3:
        look = serials.look(words)
        alike = Q(serial_key__contains=serial) | Q(serial_look__contains=look)
        devices = Device.objects.filter(alike).for_rows()
    kinds = {
        "Jobs": jobs,
        "Customers": people,
        "Devices": devices,
        "Parts": Part.objects.called(words),
    }
    found = (
        Found(name, records[:SOME], is_cut=len(records) > SOME)
        for name, rows in kinds.items()
        if (records := list(rows[: SOME + 1]))
    )
    return list(found)
