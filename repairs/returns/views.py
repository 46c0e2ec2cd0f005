"""What a return is: assessed at the bench, kept for good, assessed again if need be."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from repairs.jobs.models import Job, Repair
from repairs.returns import stopgaps
from repairs.returns.actions import assess_return, may_decide
from repairs.returns.forms import ReturnAssessmentForm, StopgapAnswerForm
from repairs.returns.queries import earlier_job
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp


def assess(request, pk):
    """Link a job to an earlier repair of its device, and say what it is."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    earlier = list(Repair.objects.before(job).for_list(on=job.booked_in_on))
    form = ReturnAssessmentForm(
        request.POST or None,
        job=job,
        earlier=earlier,
        may_decide=may_decide(job, user=request.user),
    )
    if form.is_valid():
        stamp, facts = Stamp.of(request), form.cleaned_data
        if attempt(request, form, assess_return, job, stamp=stamp, **facts):
            messages.success(request, "Return assessed.")
            return redirect(job)
        form.data = form.data | {"version": job.version}
    decisions = job.decisions.select_related("by", "earlier__job", "earlier__fault")
    return render(
        request,
        "repairs/returns/assess.html",
        {"job": job, "form": form, "earlier": earlier, "decisions": decisions},
    )


def earlier(request, pk):
    """The earlier job of a return: beside its job page, or alone."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    template = "_earlier.html" if request.htmx else "earlier.html"
    context = {"job": job, "earlier": earlier_job(job)}
    return render(request, f"repairs/returns/{template}", context)


def record_answer(request, pk):
    """Ask a customer how a stopgap holds, and record the answer."""
    on = timezone.localdate()
    repair = Repair.objects.to_ask_about(on=on).filter(pk=pk).first()
    if repair is None:
        repair = get_object_or_404(Repair.objects.select_related("job"), pk=pk)
        messages.info(request, "There is nothing to ask about this repair today.")
        return redirect(repair.job)
    form = StopgapAnswerForm(request.POST or None, repair=repair, on=on)
    if form.is_valid():
        record, stamp = stopgaps.record_answer, Stamp.of(request)
        if attempt(request, form, record, repair, stamp=stamp, **form.cleaned_data):
            messages.success(request, f"Answer recorded for job {repair.job.number}.")
            return redirect("today")
    return render(
        request, "repairs/returns/stopgap.html", {"repair": repair, "form": form}
    )
