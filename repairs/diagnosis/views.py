"""The diagnosis on the page of a job, the jobs behind a figure, and the counter's line.

The panel answers its own forms: a result of a check changes nothing else on the page.
"""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from repairs.customers.fields import find_record
from repairs.customers.models import Device
from repairs.diagnosis import actions, queries
from repairs.diagnosis.evidence import Evidence
from repairs.diagnosis.fix_options import fix_lines, usual_fix
from repairs.diagnosis.forms import DeviceAndComplaintForm, ResultForm
from repairs.diagnosis.learning import word_hashes
from repairs.diagnosis.panel import WhatWeKnow
from repairs.diagnosis.tables import CaseTable
from repairs.faults.models import Fault
from repairs.jobs.models import Job
from repairs.month.suspects import suspects_of
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.permissions import can_open
from shopdesk.stamp import Stamp

MIN_SECOND_CHANCE = 0.1
"""Probability from which the counter reads of a second fault."""


@require_POST
@vary_on_headers("HX-Request")
def record_result(request, pk):
    """Record the result of a check; answer with the panel as it is then."""
    job, form = _job(pk), ResultForm(request.POST)
    if form.is_valid():
        facts = form.cleaned_data | {"stamp": Stamp.of(request)}
        attempt(request, None, actions.record_result, job, **facts)
    else:
        messages.error(request, "Select a check and its result.")
    if not request.htmx:
        return redirect(job)
    return _panel(request, job, answering=True)


@require_GET
@vary_on_headers("HX-Request")
def panel(request, pk):
    """What past jobs say about one: a fragment for its page, or a page."""
    return _panel(request, _job(pk))


def _panel(request, job, **facts):
    may = can_open(request.user, "diagnosis:record_result")
    facts |= {"known": WhatWeKnow(job, may=may), "job": job}
    name = "_panel" if request.htmx else "panel"
    return render(request, f"repairs/diagnosis/{name}.html", facts)


@require_GET
def cases(request, pk, fault):
    """The past jobs that are counted beside a likely fault of a job."""
    job, fault = _job(pk), get_object_or_404(Fault, pk=fault)
    panel = WhatWeKnow(job, may=False)
    found = queries.with_fix(panel.such_jobs.cases.filter(fault=fault))
    table = CaseTable(found.order_by("-pk"))
    facts = {"job": job, "fault": fault, "such": panel.such_jobs}
    return list_page(request, "repairs/diagnosis/cases.html", table, **facts)


@require_GET
@vary_on_headers("HX-Request")
def fixes(request, pk):
    """The fixes of a fault side by side. A fragment for htmx."""
    fault = get_object_or_404(Fault, pk=pk)
    if not request.htmx:
        return redirect("knowledge:fault_record", pk)
    report, lines = fix_lines(fault, on=timezone.localdate(), shop=request.shop)
    facts = {"fault": fault, "report": report, "lines": lines}
    return render(request, "repairs/diagnosis/_fixes.html", facts)


@require_GET
def likely(request):
    """What the counter should know of a device: suspect model or board, likely fault.

    A fragment for htmx.
    """
    form = DeviceAndComplaintForm(request.GET)
    place = _place(form) if form.is_valid() else None
    facts = {}
    if place is not None:
        asked = {"model": place.model, "revision": place.board}
        facts["warnings"] = suspects_of(shop=request.shop, **asked)
        facts["found"] = _likely_at_counter(form, place, shop=request.shop)
    return render(request, "repairs/diagnosis/_likely.html", facts)


def _place(form):
    """Where the device stands that was chosen or typed so far; None if nowhere."""
    devices, names = Device.objects.select_related("model"), form.names()
    device = find_record(devices, form.cleaned_data["device"])
    if device is not None:
        return queries.place_of(device)
    return queries.place_of_names(**names) if names["kind"] else None


def _likely_at_counter(form, place, *, shop):
    facts = form.cleaned_data
    text = f"{facts['complaint']}\n{facts['occurs_when']}"
    ranking = queries.ranking_of(place, Evidence(words=word_hashes(text)))
    likely = queries.likely_faults(ranking)[:2]
    faults = [one for one in likely if one is likely[0] or one[1] >= MIN_SECOND_CHANCE]
    usual = None
    if faults:
        usual = usual_fix(faults[0][0], on=timezone.localdate(), shop=shop)
    new = ranking.new if ranking.new >= MIN_SECOND_CHANCE else 0
    return {"faults": faults, "usual": usual, "new": new}


def _job(pk):
    return get_object_or_404(Job.objects.select_related("device__model"), pk=pk)
