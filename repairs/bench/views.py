"""The bench: the list of its jobs, and one page a job where the work is done.

Each part of that page has a form that answers by itself when htmx asks (the part, and
what changed around it), and leads back to the page when it does not. The steps of a
job, which change the whole page, are in `steps/`.
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
from repairs.stock.models import OutOfStockError, Part

# What else on the page changes with a part of it.
ALSO = {
    "_findings": ("_proof",),
    "_faults": ("_cautions", "_parts", "_minutes", "_proof", "_close"),
}
REFUSALS = (NotYet, Stale, OutOfStockError, states.WrongStep)


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
    return _page(request, job_of(pk))


# --- how a part of the page answers -------------------------------------------


def job_of(pk):
    return get_object_or_404(
        Job.objects.select_related("device__model", "customer", "changed_by"), pk=pk
    )


def _page(request, job, /, **sent):
    context = Bench(job, user=request.user, sent=sent).as_context()
    return render(request, "repairs/bench/job.html", context)


@vary_on_headers("HX-Request")
def answer(request, pk, part, act, /, **sent):
    """Do `act` if all `sent` forms hold; then answer with the `part` of the page.

    A step of the job (`part` None) changes the whole page, so it leads there.
    """
    if request.method != "POST":
        return redirect("bench:job", pk)
    before = job_of(pk).state
    refusal = None
    if all([form.is_valid() for form in sent.values()]):
        try:
            act()
        except REFUSALS as refused:
            refusal = str(refused)
        else:
            sent = {}
    now = job_of(pk)  # after what was done, or was undone
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


def seen(request):
    """The version of the job that the sender had before their eyes."""
    return forms.VersionForm(request.POST).seen


def _sent(request, pk, part, name, form, verb, /, **facts):
    """The form called `name`, done to the job by `verb`, with `facts` besides."""
    return answer(
        request,
        pk,
        part,
        lambda: verb(job_of(pk), **form.cleaned_data, **facts, by=request.user),
        **{name: form},
    )


def _sent_of(repair, request, part, name, form, verb, /, **facts):
    """The same of one repair, whose number stands in the name of its form."""
    return answer(
        request,
        repair.job_id,
        part,
        lambda: verb(repair, **form.cleaned_data, **facts, by=request.user),
        **{name: form},
    )


def _repair(pk):
    return get_object_or_404(
        Repair.objects.select_related("fault", "fix", "job"), pk=pk
    )


# --- the parts, in the order of the work ----------------------------------------


def head(request, pk):
    form = forms.HeadForm(request.POST, prefix="head")
    facts = {"version": seen(request)}
    return _sent(request, pk, "_head", "head", form, actions.save_head, **facts)


def findings(request, pk):
    form = forms.FindingsForm(request.POST, job=job_of(pk), prefix="findings")
    save, facts = actions.save_findings, {"version": seen(request)}
    return _sent(request, pk, "_findings", "findings", form, save, **facts)


def name_fault(request, pk):
    form = forms.FaultForm(request.POST, prefix="fault")
    return _sent(request, pk, "_faults", "fault", form, actions.name_fault)


def new_fault(request, pk):
    form = forms.NewFaultForm(request.POST, prefix="newfault")
    return _sent(request, pk, "_faults", "newfault", form, actions.add_fault)


def drop_fault(request, pk):
    repair = _repair(pk)
    return answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.drop_fault(repair, by=request.user),
    )


def choose_fix(request, pk):
    repair, name = _repair(pk), f"fix-{pk}"
    form = forms.FixForm(request.POST, repair=repair, prefix=name)
    return answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.choose_fix(
            repair,
            fix=form.cleaned_data["fix"],
            version=seen(request),
            by=request.user,
        ),
        **{name: form},
    )


def new_fix(request, pk):
    repair, name = _repair(pk), f"newfix-{pk}"
    form = forms.NewFixForm(request.POST, prefix=name)
    add, facts = actions.add_fix, {"version": seen(request)}
    return _sent_of(repair, request, "_faults", name, form, add, **facts)


def give_up(request, pk):
    repair, name = _repair(pk), f"giveup-{pk}"
    form = forms.WayOutForm(request.POST, prefix=name)
    facts = {"version": seen(request)}
    return _sent_of(repair, request, "_faults", name, form, actions.give_up, **facts)


def take_up_again(request, pk):
    repair = _repair(pk)
    return answer(
        request,
        repair.job_id,
        "_faults",
        lambda: actions.take_up_again(repair, by=request.user),
    )


def reading(request, pk):
    form = forms.ReadingForm(request.POST, prefix="reading")
    take, facts = actions.take_reading, {"at": timezone.now()}
    return _sent(request, pk, "_readings", "reading", form, take, **facts)


def drop_reading(request, pk):
    one = get_object_or_404(Reading, pk=pk)
    return answer(request, one.job_id, "_readings", lambda: actions.drop_reading(one))


def start_timer(request, pk):
    form = forms.TimerForm(request.POST, job=job_of(pk), optional=True, prefix="timer")
    start = actions.start_timer
    facts = {"at": timezone.now(), "instead": "instead" in request.POST}
    return _sent(request, pk, "_minutes", "timer", form, start, **facts)


def stop_timer(request, pk):
    one = get_object_or_404(Labour, pk=pk)
    return answer(
        request,
        one.job_id,
        "_minutes",
        lambda: actions.stop_timer(one, at=timezone.now(), by=request.user),
    )


def book_minutes(request, pk):
    form = forms.MinutesForm(
        request.POST, job=job_of(pk), optional=True, prefix="minutes"
    )
    return _sent(request, pk, "_minutes", "minutes", form, actions.book_minutes)


def drop_minutes(request, pk):
    one = get_object_or_404(Labour, pk=pk)
    return answer(request, one.job_id, "_minutes", lambda: actions.drop_minutes(one))


def part(request, pk):
    form = forms.PartForm(request.POST, job=job_of(pk), prefix="part")
    return answer(
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
    return answer(
        request,
        used.repair.job_id,
        "_parts",
        lambda: give_back_part(used, by=request.user),
    )


def proof(request, pk):
    repair, name = _repair(pk), f"proof-{pk}"
    form = forms.ProofForm(request.POST, prefix=name)
    run, facts = actions.run_proof, {"at": timezone.now()}
    return _sent_of(repair, request, "_proof", name, form, run, **facts)
