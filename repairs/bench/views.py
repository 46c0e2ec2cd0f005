"""The bench: the list of its jobs, and one page a job where the work is done.

Each part of that page has a form that answers by itself when htmx asks (the part, and
what changed around it), and leads back to the page when it does not.
"""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.vary import vary_on_headers
from django_htmx.http import HttpResponseClientRedirect
from django_tables2 import RequestConfig

from repairs.bench import actions, forms
from repairs.bench.context import Bench
from repairs.bench.filters import BenchFilter
from repairs.bench.queries import bench_rows
from repairs.bench.tables import BenchTable
from repairs.jobs import states
from repairs.jobs.actions import give_back_part, use_part
from repairs.jobs.models import Job, Labour, NotYet, PartUsed, Reading, Repair, Stale
from repairs.stock.models import OutOfStock, Part

# What else on the page changes with a part of it.
ALSO = {
    "_findings": ("_proof",),
    "_faults": ("_cautions", "_parts", "_minutes", "_proof", "_close"),
}
REFUSALS = (NotYet, Stale, OutOfStock, states.WrongStep)


def mine(request):
    """The jobs at the bench."""
    found = BenchFilter(request.GET, queryset=bench_rows(), request=request)
    table = RequestConfig(request).configure(BenchTable(found.qs))
    return render(
        request,
        "repairs/bench/mine.html",
        {"filter": found, "form": found.form, "table": table},
    )


def job(request, pk):
    """One job: the page where the work is done."""
    return _page(request, _job(pk))


# --- how a part of the page answers -------------------------------------------


def _job(pk):
    return get_object_or_404(
        Job.objects.select_related("device__model", "customer", "changed_by"), pk=pk
    )


def _page(request, job, /, **sent):
    context = Bench(job, user=request.user, sent=sent).as_context()
    return render(request, "repairs/bench/job.html", context)


@vary_on_headers("HX-Request")
def _answer(request, pk, part, act, /, **sent):
    """Do `act` if all `sent` forms hold; then answer with the `part` of the page.

    A step of the job (`part` None) changes the whole page, so it leads there.
    """
    if request.method != "POST":
        return redirect("bench:job", pk)
    before = _job(pk).state
    refusal = None
    if all([form.is_valid() for form in sent.values()]):
        try:
            act()
        except REFUSALS as refused:
            refusal = str(refused)
        else:
            sent = {}
    now = _job(pk)  # after what was done, or was undone
    if refusal and sent:
        next(iter(sent.values())).add_error(None, refusal)
    elif refusal:
        messages.error(request, refusal)
    if request.htmx and not sent and (part is None or now.state != before):
        return HttpResponseClientRedirect(now.get_absolute_url())
    if not request.htmx or part is None:
        return _page(request, now, **sent) if sent else redirect(now)
    context = Bench(now, user=request.user, sent=sent).as_context()
    context["part"] = f"repairs/bench/{part}.html"
    context["also"] = [
        f"repairs/bench/{p}.html" for p in ALSO.get(part, ()) if not sent
    ]
    return render(request, "repairs/bench/_answer.html", context)


def _seen(request):
    """The version of the job that the sender had before their eyes."""
    return forms.VersionForm(request.POST).seen


def _repair(pk):
    return get_object_or_404(
        Repair.objects.select_related("fault", "fix", "job"), pk=pk
    )


# --- the parts, in the order of the work ----------------------------------------


def head(request, pk):
    form = forms.HeadForm(request.POST, prefix="head")
    return _answer(
        request,
        pk,
        "_head",
        lambda: actions.save_head(
            _job(pk), **form.cleaned_data, version=_seen(request), by=request.user
        ),
        head=form,
    )


def findings(request, pk):
    form = forms.FindingsForm(request.POST, job=_job(pk), prefix="findings")
    return _answer(
        request,
        pk,
        "_findings",
        lambda: actions.save_findings(
            _job(pk), **form.cleaned_data, version=_seen(request), by=request.user
        ),
        findings=form,
    )


def name_fault(request, pk):
    form = forms.FaultForm(request.POST, prefix="fault")
    return _answer(
        request,
        pk,
        "_faults",
        lambda: actions.name_fault(
            _job(pk), fault=form.cleaned_data["fault"], by=request.user
        ),
        fault=form,
    )


def new_fault(request, pk):
    form = forms.NewFaultForm(request.POST, prefix="newfault")
    return _answer(
        request,
        pk,
        "_faults",
        lambda: actions.add_fault(_job(pk), **form.cleaned_data, by=request.user),
        newfault=form,
    )


def drop_fault(request, pk):
    repair = _repair(pk)
    return _answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.drop_fault(repair, by=request.user),
    )


def choose_fix(request, pk):
    repair, name = _repair(pk), f"fix-{pk}"
    form = forms.FixForm(request.POST, repair=repair, prefix=name)
    return _answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.choose_fix(
            repair,
            fix=form.cleaned_data["fix"],
            version=_seen(request),
            by=request.user,
        ),
        **{name: form},
    )


def new_fix(request, pk):
    repair, name = _repair(pk), f"newfix-{pk}"
    form = forms.NewFixForm(request.POST, prefix=name)
    return _answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.add_fix(
            repair, **form.cleaned_data, version=_seen(request), by=request.user
        ),
        **{name: form},
    )


def give_up(request, pk):
    repair, name = _repair(pk), f"giveup-{pk}"
    form = forms.WayOutForm(request.POST, prefix=name)
    return _answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.give_up(
            repair, **form.cleaned_data, version=_seen(request), by=request.user
        ),
        **{name: form},
    )


def take_up_again(request, pk):
    repair = _repair(pk)
    return _answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.take_up_again(repair, by=request.user),
    )


def reading(request, pk):
    form = forms.ReadingForm(request.POST, prefix="reading")
    return _answer(
        request,
        pk,
        "_readings",
        lambda: actions.take_reading(
            _job(pk), **form.cleaned_data, at=timezone.now(), by=request.user
        ),
        reading=form,
    )


def drop_reading(request, pk):
    one = get_object_or_404(Reading, pk=pk)
    return _answer(request, one.job_id, "_readings", lambda: actions.drop_reading(one))


def start_timer(request, pk):
    form = forms.TimerForm(request.POST, job=_job(pk), optional=True, prefix="timer")
    return _answer(
        request,
        pk,
        "_minutes",
        lambda: actions.start_timer(
            _job(pk),
            repair=form.cleaned_data["repair"],
            at=timezone.now(),
            by=request.user,
            instead="instead" in request.POST,
        ),
        timer=form,
    )


def stop_timer(request, pk):
    one = get_object_or_404(Labour, pk=pk)
    return _answer(
        request,
        one.job_id,
        "_minutes",
        lambda: actions.stop_timer(one, at=timezone.now(), by=request.user),
    )


def book_minutes(request, pk):
    form = forms.MinutesForm(
        request.POST, job=_job(pk), optional=True, prefix="minutes"
    )
    return _answer(
        request,
        pk,
        "_minutes",
        lambda: actions.book_minutes(_job(pk), **form.cleaned_data, by=request.user),
        minutes=form,
    )


def drop_minutes(request, pk):
    one = get_object_or_404(Labour, pk=pk)
    return _answer(request, one.job_id, "_minutes", lambda: actions.drop_minutes(one))


def part(request, pk):
    form = forms.PartForm(request.POST, job=_job(pk), prefix="part")
    return _answer(
        request,
        pk,
        "_parts",
        lambda: use_part(**form.cleaned_data, by=request.user),
        part=form,
    )


def find_part(request, pk):
    """What the part's box offers for what is typed so far."""
    typed = request.GET.get("part-part", "")[:200]
    found = Part.objects.filter(is_retired=False).called(typed)[:12] if typed else []
    return render(request, "repairs/bench/_parts_known.html", {"parts_known": found})


def give_back(request, pk):
    used = get_object_or_404(PartUsed.objects.select_related("repair"), pk=pk)
    return _answer(
        request,
        used.repair.job_id,
        "_parts",
        lambda: give_back_part(used, by=request.user),
    )


def proof(request, pk):
    repair, name = _repair(pk), f"proof-{pk}"
    form = forms.ProofForm(request.POST, prefix=name)
    return _answer(
        request,
        repair.job_id,
        "_proof",
        lambda: actions.run_proof(
            repair, **form.cleaned_data, at=timezone.now(), by=request.user
        ),
        **{name: form},
    )


# --- the steps ------------------------------------------------------------------


def _step(request, pk, verb, *, asks=None, name="", **facts):
    """A step of the job; `asks` is the form that says why, or how it ended."""
    form = asks(request.POST, prefix=name) if asks else None
    return _answer(
        request,
        pk,
        None,
        lambda: actions.step(
            _job(pk),
            verb,
            version=_seen(request),
            by=request.user,
            **(form.cleaned_data if form else {}),
            **facts,
        ),
        **({name: form} if form else {}),
    )


def diagnose(request, pk):
    return _step(request, pk, "diagnose")


def start_under_cover(request, pk):
    return _step(request, pk, "approve_under_cover")


def revise(request, pk):
    return _step(request, pk, "revise", asks=forms.ReasonForm, name="reason")


def repair_done(request, pk):
    return _step(request, pk, "repair_done")


def prove(request, pk):
    return _step(request, pk, "prove")


def back_to_bench(request, pk):
    return _step(request, pk, "proof_failed", asks=forms.ReasonForm, name="reason")


def close(request, pk):
    """Closed as fixed, with what came of each repair; refused while any is missing."""
    job = _job(pk)
    of_repairs = {
        f"close-{repair.pk}": forms.CloseForm(
            request.POST, repair=repair, prefix=f"close-{repair.pk}"
        )
        for repair in job.repairs.select_related("fault", "fix")
    }
    whole = forms.WholeForm(request.POST, prefix="whole")
    return _answer(
        request,
        pk,
        None,
        lambda: actions.close_fixed(
            job,
            repairs={form.repair: form.cleaned_data for form in of_repairs.values()},
            why=whole.cleaned_data["why"],
            version=_seen(request),
            by=request.user,
        ),
        whole=whole,
        **of_repairs,
    )


def close_otherwise(request, pk):
    return _step(request, pk, "close", asks=forms.WayOutForm, name="wayout")


def close_declined(request, pk):
    return _step(request, pk, "close", outcome=states.DECLINED_BY_CUSTOMER)


def reopen(request, pk):
    return _step(request, pk, "reopen", asks=forms.ReasonForm, name="reason")
