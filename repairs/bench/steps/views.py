"""The steps of a job at the bench, from diagnosed to closed; each leads to its page."""

from repairs.bench import actions, forms
from repairs.bench.views import answer, job_of, seen
from repairs.jobs import states


def _step(request, pk, verb, *, asks=None, name="", **facts):
    """A step of the job; `asks` is the form that says why, or how it ended."""
    form = asks(request.POST, prefix=name) if asks else None
    return answer(
        request,
        pk,
        None,
        lambda: actions.step(
            job_of(pk),
            verb,
            version=seen(request),
            by=request.user,
            **(form.cleaned_data if form else {}),
            **facts,
        ),
        **({name: form} if form else {}),
    )


def diagnose(request, pk):
    return _step(request, pk, "diagnose")


def start_under_cover(request, pk):
    return _step(request, pk, "approve_warranty_repair")


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
    job = job_of(pk)
    of_repairs = {
        f"close-{repair.pk}": forms.CloseForm(
            request.POST, repair=repair, prefix=f"close-{repair.pk}"
        )
        for repair in job.repairs.select_related("fault", "fix")
    }
    whole = forms.WholeForm(request.POST, prefix="whole")
    return answer(
        request,
        pk,
        None,
        lambda: actions.close_fixed(
            job,
            repairs={form.repair: form.cleaned_data for form in of_repairs.values()},
            why=whole.cleaned_data["why"],
            version=seen(request),
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
