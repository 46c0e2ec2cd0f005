"""Staff pages for the European Repair Information Form."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from billing.quotes.models import QuoteOption
from billing.repair_form import actions
from billing.repair_form.forms import AcceptForm, ConsentForm, TermsForm
from billing.repair_form.models import RepairInformationForm
from billing.repair_form.papers import render_form_pdf
from repairs.jobs.models import Job
from shopdesk.look.downloads import pdf_response
from shopdesk.look.forms import saved
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp


def _form(pk):
    forms = RepairInformationForm.objects.defer("pdf").select_related(
        "job__customer", "job__device__model", "option__quote"
    )
    return get_object_or_404(forms, pk=pk)


def for_job(request, pk):
    """List the forms of a job; record consent to the diagnosis fee."""
    job = get_object_or_404(Job.objects.for_list(), pk=pk)
    shop = request.shop
    fee = job.agreed_diagnosis_fee
    consent = ConsentForm(
        request.POST or None,
        places=shop.places,
        initial={
            "fee": shop.diagnosis_fee if fee is None else fee,
            "agreed_by": job.customer.name,
        },
    )
    if consent.is_valid():
        facts = {**consent.cleaned_data, "stamp": Stamp.of(request)}
        if attempt(request, consent, actions.consent, job, **facts):
            messages.success(request, gettext("Consent recorded."))
            return redirect("repair_form:for_job", pk)
    today = timezone.localdate()
    forms = job.repair_forms.defer("pdf").select_related("option__quote")
    quote = job.quotes.defer("pdf").live().first()
    return render(
        request,
        "billing/repair_form/for_job.html",
        {
            "job": job,
            "repair_forms": [(form, form.status(today)) for form in forms],
            "consents": job.diagnosis_consents.all(),
            "form": consent,
            "may_consent": job.state in actions.MAY_CONSENT,
            "options": quote.options.all() if quote and quote.is_sent else [],
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
    form = _form(pk)
    if form.is_issued:
        accept_form = AcceptForm(initial={"who": form.job.customer.name})
        return _issued_page(request, form, accept_form)
    terms = TermsForm(request.POST or None, instance=form)
    if not saved(request, terms, message=gettext("Draft saved.")):
        return _draft_page(request, form, terms)
    return redirect(form)


def _draft_page(request, form, terms):
    shop = request.shop
    # Refused entries stay in the fields; missing rows are those of the stored form.
    stored = _form(form.pk) if terms.is_bound else form
    return render(
        request,
        "billing/repair_form/draft.html",
        {
            "repair_form": form,
            "job": form.job,
            "form": terms,
            "missing_rows": stored.missing_rows(shop=shop),
            "written_in": form.written_in(shop),
        },
    )


def _issued_page(request, form, accept_form):
    today = timezone.localdate()
    return render(
        request,
        "billing/repair_form/issued.html",
        {
            "repair_form": form,
            "job": form.job,
            "status": form.status(today),
            "is_expired": form.is_expired(request.shop.latest_day(today)),
            "form": accept_form,
            "written_in": form.written_in(request.shop),
        },
    )


@require_POST
def issue(request, pk):
    """Save the draft, then freeze the form with its paper."""
    form = _form(pk)
    if not form.is_issued:
        terms = TermsForm(request.POST, instance=form)
        if not saved(request, terms, message=gettext("Draft saved.")):
            return _draft_page(request, form, terms)
    attempt(request, None, actions.issue, form, stamp=Stamp.of(request))
    return redirect(form)


@require_POST
def delete(request, pk):
    """Delete a draft."""
    form = _form(pk)
    if attempt(request, None, actions.delete, form):
        return redirect("repair_form:for_job", form.job_id)
    return redirect(form)


@require_POST
def accept(request, pk):
    """Record that the customer accepts the form."""
    form = _form(pk)
    if not form.is_issued:
        messages.error(request, gettext("This form has not been issued yet."))
        return redirect(form)
    accept_form = AcceptForm(request.POST)
    if accept_form.is_valid():
        facts = {**accept_form.cleaned_data, "stamp": Stamp.of(request)}
        if attempt(request, accept_form, actions.accept, form, **facts):
            messages.success(request, gettext("Acceptance recorded."))
            return redirect(form)
    return _issued_page(request, _form(pk), accept_form)


@require_POST
def mail(request, pk):
    """Email the issued form to the customer."""
    form = _form(pk)
    mailed = attempt(request, None, actions.mail, form, stamp=Stamp.of(request))
    if mailed:
        messages.success(
            request,
            gettext("Email to {address} is in the outbox.").format(
                address=mailed.result.to
            ),
        )
    return redirect(form)


@require_GET
def paper(request, pk):
    """Return the stored paper of an issued form, or a preview of the draft."""
    form = _form(pk)
    pdf = form.pdf
    if form.issued_at is None and not pdf:
        facts = {"issued_at": form.made_at, "until": None, "shop": request.shop}
        drawn = attempt(request, None, render_form_pdf, form, **facts)
        if not drawn:
            return redirect(form)
        pdf = drawn.result
    return pdf_response(pdf, name=f"repair-form-{form.job.number}-{form.number}")
