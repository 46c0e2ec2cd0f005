"""The bench: the list of its jobs, and one page a job where the work is done.

Each part of that page has a form that answers by itself when htmx asks (the part, and
what changed around it), and leads back to the page when it does not. A step of the job
changes the whole page, so it leads there.
"""

from datetime import timedelta

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.vary import vary_on_headers
from django_htmx.http import HttpResponseClientRedirect

from repairs.bench import (
    actions,
    closing_forms,
    diagnosis_forms,
    forms,
    work_forms,
)
from repairs.bench.filters import BenchFilter
from repairs.bench.job_page import JobPage
from repairs.bench.queries import job_of, symptoms_for
from repairs.bench.queue import finished_jobs, queued_jobs
from repairs.bench.tables import BenchTable, FinishedTable
from repairs.bench.test_points import stage_of
from repairs.bench.waiting import jobs_waiting_for_parts
from repairs.faults.models import Fault, Fix
from repairs.jobs import actions as parts
from repairs.jobs import reserving, states, workflow
from repairs.jobs.models import (
    Job,
    Labour,
    PartReservation,
    PartUsed,
    Reading,
    Repair,
    UnstockedPart,
)
from repairs.knowledge.good_readings import usual_readings
from repairs.returns.previous_readings import previous_readings
from repairs.stock.models import Part
from repairs.stock.queries import shortage
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp

# What else on the page changes with a part of it.
ALSO = {
    "_findings": ("_known", "_final_test"),
    "_faults": ("_known", "_cautions", "_parts", "_labour", "_final_test", "_close"),
}


def job_list(request):
    """The jobs at the bench."""
    found = BenchFilter(request.GET, queryset=queued_jobs(), request=request)
    facts = {"filter": found, "form": found.form}
    return list_page(request, "repairs/bench/list.html", BenchTable(found.qs), **facts)


def finished(request):
    """The jobs that the bench closed on one day; a day that makes no sense is today."""
    form = forms.DayForm(request.GET)
    on = form.chosen or timezone.localdate()
    closed = finished_jobs(on=on)
    context = {
        "form": forms.DayForm(initial={"day": on}),
        "day": on,
        "before": on - timedelta(days=1),
        "after": on + timedelta(days=1) if on < timezone.localdate() else None,
    }
    table = FinishedTable(closed)
    return list_page(request, "repairs/bench/finished.html", table, **context)


def waiting(request):
    """The jobs that wait for parts."""
    facts = {"waiting": jobs_waiting_for_parts(), "today": timezone.localdate()}
    return render(request, "repairs/bench/waiting.html", facts)


def job(request, pk):
    """One job: the page where the work is done."""
    return _whole_page(request, job_of(pk, user=request.user), {})


# --- how a part of the page answers -------------------------------------------


def _whole_page(request, job, sent):
    page = JobPage(job, request=request, sent=sent)
    return render(request, "repairs/bench/job.html", page.context())


@vary_on_headers("HX-Request")
def answer(request, job, part, action, target, /, *, sent=None, **facts):
    """Do `action` to `target` if all `sent` forms hold; then answer with `part`.

    `sent` are forms by their names on the page; the first of them says what is typed
    and shows a refusal. A step of the job (`part` None) leads to the whole page.
    """
    if request.method != "POST":
        return redirect("bench:job", job.pk)
    sent = sent or {}
    before = job.state
    if all([form.is_valid() for form in sent.values()]):
        form = next(iter(sent.values()), None)
        facts |= form.cleaned_data if form else {}
        if attempt(request, form, action, target, stamp=Stamp.of(request), **facts):
            sent = {}
    now = job_of(job.pk, user=request.user)  # after what was done, or was undone
    if request.htmx and not sent and (part is None or now.state != before):
        return HttpResponseClientRedirect(now.get_absolute_url())
    if not request.htmx or part is None:
        return _whole_page(request, now, sent) if sent else redirect(now)
    page = JobPage(now, request=request, sent=sent)
    shown = {
        "part": f"repairs/bench/{part}.html",
        "also": [f"repairs/bench/{p}.html" for p in ALSO.get(part, ()) if not sent],
    }
    return render(request, "repairs/bench/_answer.html", page.context() | shown)


def _job(pk):
    return get_object_or_404(Job, pk=pk)


def _repair(pk):
    found = Repair.objects.select_related("fault", "fix", "job")
    return get_object_or_404(found, pk=pk)


def _repairs(job):
    return job.repairs.select_related("fault")


def _version(request):
    """The version of the job that the sender had before their eyes."""
    return forms.VersionForm(request.POST).number


# --- the parts, in the order of the work ----------------------------------------


def save_details(request, pk):
    job = _job(pk)
    form = forms.JobDetailsForm(request.POST, instance=_job(pk), prefix="head")
    save, version = actions.save_details, _version(request)
    return answer(
        request, job, "_details", save, job, sent={"head": form}, version=version
    )


def save_findings(request, pk):
    job = _job(pk)
    form = diagnosis_forms.FindingsForm(
        request.POST, job=job, symptoms=symptoms_for(job), prefix="findings"
    )
    save, sent, version = actions.save_findings, {"findings": form}, _version(request)
    return answer(request, job, "_findings", save, job, sent=sent, version=version)


def add_fault(request, pk):
    job, form = _job(pk), diagnosis_forms.JobFaultForm(request.POST, prefix="fault")
    return answer(request, job, "_faults", actions.add_fault, job, sent={"fault": form})


def create_fault(request, pk):
    job, form = _job(pk), diagnosis_forms.NewFaultForm(request.POST, prefix="newfault")
    sent = {"newfault": form}
    return answer(request, job, "_faults", actions.create_fault, job, sent=sent)


def remove_fault(request, pk):
    repair = _repair(pk)
    return answer(request, repair.job, "_faults", actions.remove_fault, repair)


def select_fix(request, pk):
    repair, name = _repair(pk), f"fix-{pk}"
    form = diagnosis_forms.JobFixForm(request.POST, repair=repair, prefix=name)
    return _of_repair(request, repair, "_faults", actions.select_fix, {name: form})


def create_fix(request, pk):
    repair, name = _repair(pk), f"newfix-{pk}"
    form = diagnosis_forms.NewFixForm(request.POST, prefix=name)
    return _of_repair(request, repair, "_faults", actions.create_fix, {name: form})


def mark_not_repaired(request, pk):
    repair, name = _repair(pk), f"giveup-{pk}"
    form = closing_forms.NotRepairedForm(request.POST, prefix=name)
    action = actions.mark_not_repaired
    return _of_repair(request, repair, "_faults", action, {name: form})


def _of_repair(request, repair, part, action, sent):
    facts = {"sent": sent, "version": _version(request)}
    return answer(request, repair.job, part, action, repair, **facts)


def resume_repair(request, pk):
    repair = _repair(pk)
    return answer(request, repair.job, "_faults", actions.resume_repair, repair)


def add_reading(request, pk):
    job = get_object_or_404(Job.objects.select_related("device"), pk=pk)
    form = work_forms.ReadingForm(
        request.POST,
        usual=usual_readings(job.device, except_job=job),
        stage=stage_of(job),
        previous=previous_readings(job),
        prefix="reading",
    )
    sent = {"reading": form}
    return answer(request, job, "_readings", actions.add_reading, job, sent=sent)


def remove_reading(request, pk):
    reading = get_object_or_404(Reading.objects.select_related("job"), pk=pk)
    remove = actions.remove_reading
    return answer(request, reading.job, "_readings", remove, reading)


def start_timer(request, pk):
    job = _job(pk)
    form = work_forms.TimerForm(
        request.POST, repairs=_repairs(job), optional=True, prefix="timer"
    )
    facts = {"sent": {"timer": form}, "instead": "instead" in request.POST}
    return answer(request, job, "_labour", actions.start_timer, job, **facts)


def stop_timer(request, pk):
    labour = get_object_or_404(Labour.objects.select_related("job"), pk=pk)
    return answer(request, labour.job, "_labour", actions.stop_timer, labour)


def add_labour(request, pk):
    job = _job(pk)
    form = work_forms.MinutesForm(
        request.POST, repairs=_repairs(job), optional=True, prefix="minutes"
    )
    sent = {"minutes": form}
    return answer(request, job, "_labour", actions.add_labour, job, sent=sent)


def remove_labour(request, pk):
    labour = get_object_or_404(Labour.objects.select_related("job"), pk=pk)
    return answer(request, labour.job, "_labour", actions.remove_labour, labour)


def use_part(request, pk):
    job = _job(pk)
    form = work_forms.JobPartForm(request.POST, repairs=_repairs(job), prefix="part")

    def use(job, *, repair, part, **facts):
        parts.use_part(repair, part=part, **facts)
        _warn_of_shortage(request, part, job=job)

    return answer(request, job, "_parts", use, job, sent={"part": form})


def _warn_of_shortage(request, part, *, job):
    """Say which other jobs lack a part that this one has just taken."""
    if text := shortage(part, except_job=job):
        messages.warning(request, text)


def reserve_part(request, pk):
    job = _job(pk)
    form = work_forms.JobPartForm(request.POST, repairs=_repairs(job), prefix="part")

    def reserve(job, *, part, quantity, stamp, **_):
        reserving.reserve_part(job, part=part, quantity=quantity, stamp=stamp)

    return answer(request, job, "_parts", reserve, job, sent={"part": form})


def release_part(request, pk):
    found = PartReservation.objects.select_related("job")
    reservation = get_object_or_404(found, pk=pk)
    release = reserving.release_part
    return answer(request, reservation.job, "_parts", release, reservation)


def add_unstocked_part(request, pk):
    job = _job(pk)
    form = work_forms.UnstockedPartForm(
        request.POST, repairs=_repairs(job), prefix="unstocked"
    )

    def add(job, *, repair, **facts):
        parts.add_unstocked_part(repair, **facts)

    return answer(request, job, "_parts", add, job, sent={"unstocked": form})


def remove_unstocked_part(request, pk):
    found = UnstockedPart.objects.select_related("repair__job")
    unstocked = get_object_or_404(found, pk=pk)
    remove = parts.remove_unstocked_part
    return answer(request, unstocked.repair.job, "_parts", remove, unstocked)


def find_fault(request, pk):
    return _find(request, Fault, request.GET.get("fault-fault", ""))


def find_fix(request, pk):
    boxes = (text for name, text in request.GET.items() if name.endswith("-other"))
    return _find(request, Fix, next(boxes, ""))


def _find(request, model, typed):
    """The entries of the fault book that a box offers for what is typed so far."""
    typed = typed[:200]
    found = model.objects.filter(is_retired=False).search(typed)[:12] if typed else []
    return render(request, "repairs/bench/_entry_options.html", {"entries": found})


def find_part(request, pk):
    """What the part's box offers for what is typed so far."""
    typed = request.GET.get("part-part", "")[:200]
    offered = Part.objects.filter(is_retired=False).with_reserved()
    found = offered.containing(typed)[:12] if typed else []
    return render(request, "repairs/bench/_part_options.html", {"part_options": found})


def put_back_part(request, pk):
    used = get_object_or_404(PartUsed.objects.select_related("repair__job"), pk=pk)
    return answer(request, used.repair.job, "_parts", parts.put_back_part, used)


def record_final_test(request, pk):
    repair, name = _repair(pk), f"final-test-{pk}"
    sent = {name: closing_forms.FinalTestForm(request.POST, prefix=name)}
    record = actions.record_final_test
    shop = request.shop
    return answer(
        request, repair.job, "_final_test", record, repair, sent=sent, shop=shop
    )


def set_tries_required(request, pk):
    repair, name = _repair(pk), f"tries-{pk}"
    form = closing_forms.TriesRequiredForm(request.POST, prefix=name)
    action = actions.set_tries_required
    return _of_repair(request, repair, "_final_test", action, {name: form})


# --- the steps of the job -------------------------------------------------------


def _step(request, pk, verb, *, sent=None, **facts):
    """A step of the workflow, with what the form in `sent` says about it."""
    facts |= {"verb": verb, "version": _version(request)}
    job = _job(pk)
    return answer(request, job, None, actions.apply_transition, job, sent=sent, **facts)


def _with_reason(request, pk, verb):
    form = forms.ReasonForm(request.POST, prefix="reason")
    return _step(request, pk, verb, sent={"reason": form})


def diagnose(request, pk):
    return _step(request, pk, workflow.diagnose)


def start_warranty_repair(request, pk):
    return _step(request, pk, workflow.approve_warranty_repair)


def revise(request, pk):
    return _with_reason(request, pk, workflow.revise)


def mark_repaired(request, pk):
    """Mark as repaired, with the parts as they were used."""
    job = job_of(pk, user=request.user)
    rows = JobPage(job, request=request).part_rows
    form = closing_forms.CompleteRepairForm(request.POST, rows=rows, prefix="repaired")
    facts = {"sent": {"repaired": form}, "version": _version(request)}

    def complete(job, *, used, **facts):
        actions.complete_repair(job, used=used, **facts)
        for part in {part for _, part, quantity in used if quantity}:
            _warn_of_shortage(request, part, job=job)

    return answer(request, job, None, complete, job, **facts)


def set_battery(request, pk):
    job, form = _job(pk), forms.BatteryForm(request.POST, prefix="battery")
    action = actions.set_battery_disconnected
    return answer(request, job, "_cautions", action, job, sent={"battery": form})


def complete_final_test(request, pk):
    return _step(request, pk, workflow.complete_final_test)


def fail_final_test(request, pk):
    return _with_reason(request, pk, workflow.fail_final_test)


def close(request, pk):
    """Close as fixed, with the outcome of each repair; refused while one is missing."""
    job, on = _job(pk), timezone.localdate()
    of_repairs = {
        f"close-{repair.pk}": closing_forms.CloseForm(
            request.POST, repair=repair, on=on, prefix=f"close-{repair.pk}"
        )
        for repair in job.repairs.select_related("fault", "fix")
    }

    def close_fixed(job, **facts):
        outcomes = {form.repair: form.cleaned_data for form in of_repairs.values()}
        actions.close_fixed(job, repairs=outcomes, **facts)

    sent = {
        "whole": closing_forms.JobOutcomeForm(request.POST, prefix="whole"),
        **of_repairs,
    }
    version = _version(request)
    return answer(request, job, None, close_fixed, job, sent=sent, version=version)


def close_without_repair(request, pk):
    form = closing_forms.NotRepairedForm(request.POST, prefix="wayout")
    return _step(request, pk, workflow.close, sent={"wayout": form})


def close_declined(request, pk):
    return _step(request, pk, workflow.close, outcome=states.DECLINED_BY_CUSTOMER)


def reopen(request, pk):
    return _with_reason(request, pk, workflow.reopen)
