"""Staff pages for the European Repair Information Form."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from billing.quotes.models import QuoteOption
from billing.repair_form import actions
from billing.repair_form.forms import AcceptForm, ConsentForm, TermsForm
from billing.repair_form.models import RepairInformationForm
from billing.repair_form.papers import render_form_pdf
from billing.repair_form.terms import missing_fields
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk.look.forms import attempt
from shopdesk.mail.actions import write
from shopdesk.papers.render import document_language
from shopdesk.stamp import Stamp
from shopdesk.templatetags.desk import day

PDF = "application/pdf"


def _found(pk):
    found = RepairInformationForm.objects.defer("pdf").select_related(
        "job__customer", "job__device__model", "option__quote"
    )
    return get_object_or_404(found, pk=pk)


def of_job(request, pk):
    """List the forms of a job; record consent to the diagnosis fee."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    shop = request.shop
    consent = ConsentForm(
        request.POST or None,
        places=shop.places,
        initial={
            "fee": shop.diagnosis_fee
            if job.agreed_diagnosis_fee is None
            else job.agreed_diagnosis_fee,
            "agreed_by": job.customer.name,
        },
    )
    if consent.is_valid():
        facts = {
            "fee": consent.cleaned_data["fee"],
            "who": consent.cleaned_data["agreed_by"],
            "how": consent.cleaned_data["agreed_how"],
            "stamp": Stamp.of(request),
        }
        if attempt(request, consent, actions.consent, job, **facts):
            messages.success(request, "Consent recorded.")
            return redirect("repair_form:of_job", pk)
    today = timezone.localdate()
    forms = job.repair_forms.defer("pdf").select_related("option__quote")
    quote = job.quotes.defer("pdf").live().first()
    return render(
        request,
        "billing/repair_form/of_job.html",
        {
            "job": job,
            "rows": [(form, form.status(today)) for form in forms],
            "consents": job.diagnosis_consents.all(),
            "form": consent,
            "may_consent": job.state in (job_states.EXPECTED, job_states.BOOKED_IN),
            "options": quote.options.all() if quote and quote.is_sent else [],
            "is_offered": shop.uses_repair_form,
        },
    )


@require_POST
def make(request, pk):
    """Create a form from an option."""
    option = get_object_or_404(QuoteOption.objects.select_related("quote__job"), pk=pk)
    made = attempt(request, None, actions.make, option, stamp=Stamp.of(request))
    return redirect(made.result if made else option.quote)


def form(request, pk):
    """One form: edited as a draft, accepted once it is issued."""
    one = _found(pk)
    if one.is_issued:
        return _issued_page(request, one, AcceptForm(initial=_who(one)))
    places = one.written_in(request.shop).places
    boxes = TermsForm(request.POST or None, instance=one, places=places)
    if boxes.is_valid():
        boxes.save()
        messages.success(request, "Draft saved.")
        return redirect(one)
    return _draft_page(request, one, boxes)


def _who(one):
    return {"who": one.job.customer.name}


def _draft_page(request, one, boxes):
    shop = request.shop
    # Refused entries stay in the fields; missing rows are those of the stored form.
    kept = one if not boxes.is_bound else _found(one.pk)
    return render(
        request,
        "billing/repair_form/draft.html",
        {
            "one": one,
            "job": one.job,
            "form": boxes,
            "missing_fields": missing_fields(kept.terms(shop=shop)),
            "written_in": one.written_in(shop),
        },
    )


def _issued_page(request, one, accept):
    today = timezone.localdate()
    return render(
        request,
        "billing/repair_form/issued.html",
        {
            "one": one,
            "job": one.job,
            "standing": one.status(today),
            "is_expired": one.is_expired(today),
            "form": accept,
            "written_in": one.written_in(request.shop),
        },
    )


@require_POST
def issue(request, pk):
    """Save the draft, then freeze the form with its paper."""
    one = _found(pk)
    if not one.is_issued:
        places = one.written_in(request.shop).places
        boxes = TermsForm(request.POST, instance=one, places=places)
        if not boxes.is_valid():
            return _draft_page(request, one, boxes)
        boxes.save()
    attempt(request, None, actions.issue, one, stamp=Stamp.of(request))
    return redirect(one)


@require_POST
def delete(request, pk):
    """Delete a draft."""
    one = _found(pk)
    if attempt(request, None, actions.delete, one):
        return redirect("repair_form:of_job", one.job_id)
    return redirect(one)


@require_POST
def accept(request, pk):
    """Record that the customer accepts the form."""
    one = _found(pk)
    form = AcceptForm(request.POST)
    if form.is_valid():
        stamp = Stamp.of(request)
        if attempt(
            request, form, actions.accept, one, stamp=stamp, **form.cleaned_data
        ):
            messages.success(request, "Acceptance recorded.")
            return redirect(one)
    if not one.is_issued:
        messages.error(request, "This form has not been issued yet.")
        return redirect(one)
    return _issued_page(request, _found(pk), form)


@require_POST
def mail(request, pk):
    """Email the issued form to the customer."""
    one = _found(pk)
    if not one.is_issued:
        messages.error(request, "Issue the form before you email it.")
        return redirect(one)
    shop = request.shop
    number = one.job.number
    with document_language(shop):
        subject = gettext("Repair information form for {device}")
        text = gettext(
            "Please find attached the form for job {number}. Its conditions are valid"
            " until {day}.\n\n{shop}"
        ).format(number=number, day=day(one.valid_until), shop=shop.name)
        name = gettext("form-{number}.pdf").format(number=number)
    mailed = attempt(
        request,
        None,
        write,
        one.job.customer.email,
        subject=subject.format(device=one.job.device),
        text=text,
        attachments=[(name, PDF, bytes(one.pdf))],
        about=one.get_absolute_url(),
        stamp=Stamp.of(request),
    )
    if mailed:
        messages.success(request, f"Email to {mailed.result.to} is in the outbox.")
    return redirect(one)


@require_GET
def paper(request, pk):
    """Return the stored paper of an issued form, or a preview of the draft."""
    one = _found(pk)
    if one.is_issued:
        pdf = bytes(one.pdf)
    else:
        shop = request.shop
        drawn = attempt(
            request,
            None,
            render_form_pdf,
            one,
            terms=one.terms(shop=shop),
            issued_at=one.made_at,
            until=None,
            shop=shop,
        )
        if not drawn:
            return redirect(one)
        pdf = drawn.result
    name = f"repair-form-{one.job.number}-{one.number}.pdf"
    return HttpResponse(
        pdf,
        content_type=PDF,
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
