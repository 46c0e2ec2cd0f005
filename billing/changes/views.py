"""Staff pages for extra work and its answers."""

from django.contrib import messages
from django.db import transaction
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET

from billing.changes import actions, queries
from billing.changes.forms import ASK, ChangeAnswerForm, ChangeReasonForm, line_forms
from billing.changes.models import ChangeOrder
from repairs.jobs.models import Job
from shopdesk.sent_forms.attempts import attempt
from shopdesk.shop.tax import LineTaxes
from shopdesk.stamp import Stamp


def _job(pk):
    return get_object_or_404(Job.objects.for_list(), pk=pk)


def for_job(request, pk):
    """List the extra work of a job; add more."""
    job = _job(pk)
    quote = queries.accepted_quote(job)
    if request.method == "POST" and quote is None:
        messages.error(
            request, gettext("No price is agreed for this job. Create a quote first.")
        )
        return redirect("quotes:for_job", pk)
    if request.method != "POST":
        return _page(request, job, quote)
    new_forms = _new_forms(job, quote, shop=request.shop, data=request.POST)
    # Validate all forms, so that all errors are shown at once.
    if not all([form.is_valid() for form in new_forms["forms"]]):
        return _page(request, job, quote, new_forms)
    recorded = attempt(
        request,
        new_forms["reason_form"],
        _record,
        job,
        new_forms,
        stamp=Stamp.of(request),
    )
    if not recorded:
        return _page(request, job, quote, new_forms)
    change = recorded.result
    messages.success(
        request, gettext("Extra work {number} saved.").format(number=change.number)
    )
    return redirect(change)


def _record(job, new_forms, *, stamp):
    """Record the extra work, with its answer if the customer gave one."""
    lines = [form.calculated() for form in new_forms["lines"] if form.has_changed()]
    with transaction.atomic():
        change = actions.record(
            job,
            why=new_forms["reason_form"].cleaned_data["why"],
            lines=lines,
            stamp=stamp,
        )
        given = new_forms["answer_form"].cleaned_data
        if given["decision"] != ASK:
            actions.answer(change, stamp=stamp, **given)
    return change


def _new_forms(job, quote, *, shop, data=None):
    """Return the forms of new extra work, which are sent together."""
    reason_form = ChangeReasonForm(data, prefix="change")
    lines = line_forms(
        data,
        taxes=LineTaxes(shop.tax_rules(timezone.localdate()), job.customer.as_buyer),
        places=quote.places,
    )
    answer_form = ChangeAnswerForm(
        data,
        prefix="answer",
        customer=job.customer,
        since=quote.answered_at,
        allow_unanswered=True,
    )
    forms = [reason_form, *lines, answer_form]
    return {
        "reason_form": reason_form,
        "lines": lines,
        "answer_form": answer_form,
        "forms": forms,
    }


def _page(request, job, quote, new_forms=None, answer=None):
    shop = request.shop
    context = {"job": job, "quote": quote, "forms": [answer] if answer else []}
    if quote:
        waiting = queries.open_change(quote)
        may_add = job.state in actions.WORKING and waiting is None
        context |= {
            "written_in": quote.written_in(shop),
            "changes": quote.changes.for_list().prefetch_related("lines"),
            "agreed_now": queries.agreed_total(quote),
            "so_far": queries.so_far(job, shop=shop),
            "waiting": waiting,
            "may_add": may_add,
        }
        if waiting:
            context["answer"] = answer or ChangeAnswerForm(
                prefix="answer", customer=job.customer, since=waiting.made_at
            )
        if may_add or new_forms:
            context |= new_forms or _new_forms(job, quote, shop=shop)
    return render(request, "billing/changes/for_job.html", context)


def answer(request, pk):
    """Record the answer to extra work, or withdraw it."""
    change = get_object_or_404(ChangeOrder.objects.for_list(), pk=pk)
    if request.method != "POST":
        return redirect(change)
    job = _job(change.quote.job_id)
    form = ChangeAnswerForm(
        request.POST, prefix="answer", customer=job.customer, since=change.made_at
    )
    if form.is_valid():
        stamp = Stamp.of(request)
        if attempt(
            request, None, actions.answer, change, stamp=stamp, **form.cleaned_data
        ):
            messages.success(request, gettext("Answer recorded."))
        return redirect(change)
    if not change.is_open:
        messages.error(request, gettext("This extra work has already been answered."))
        return redirect(change)
    return _page(request, job, queries.accepted_quote(job), answer=form)


@require_GET
def so_far(request, pk):
    """Return the note on the bench page if the work costs more than agreed."""
    job = _job(pk)
    return render(
        request,
        "billing/changes/_progress.html",
        {
            "job": job,
            "so_far": queries.so_far(job, shop=request.shop),
            "waiting": queries.open_change(queries.accepted_quote(job)),
        },
    )
