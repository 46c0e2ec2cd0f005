"""What a return is: decided at the bench, kept for good, decided again if need be."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from repairs.jobs import states
from repairs.jobs.actions import decide_return
from repairs.jobs.models import Job, NotYet, Stale
from repairs.returns.forms import DecideForm
from repairs.returns.queries import as_rows, earlier_repairs


def decide(request, pk):
    """Hold a job against an earlier repair of its device, and say what it is."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    earlier = earlier_repairs(job)
    form = DecideForm(request.POST or None, job=job, earlier=earlier)
    if form.is_valid():
        try:
            _decide(job, form.cleaned_data, by=request.user)
        except (NotYet, Stale, states.WrongStep) as refusal:
            form.add_error(None, str(refusal))
            job = get_object_or_404(Job.objects.for_list(), pk=pk)
            form.data = form.data | {"version": job.version}
        else:
            messages.success(request, "The return is decided.")
            return redirect(job)
    return render(
        request,
        "repairs/returns/decide.html",
        {
            "job": job,
            "form": form,
            "rows": as_rows(earlier, on=job.booked_in_on),
            "decisions": job.decisions.select_related(
                "by", "earlier__job", "earlier__fault"
            ),
        },
    )


def _decide(job, said, *, by):
    with job.changing(version=said["version"], by=by):
        decide_return(
            job,
            earlier=said["earlier"],
            what=said["what"],
            is_in_warranty=said["is_in_warranty"],
            why=said["why"].strip(),
            on=timezone.localdate(),
            by=by,
        )
