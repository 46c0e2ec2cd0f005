"""Create a form from an option, issue it, and record its acceptance.

The job is always locked before its quotes, so that two people never deadlock.
"""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext, ngettext

from billing.quotes import states
from billing.quotes.answering import accept as accept_quote
from billing.quotes.drafting import copy_option, next_version
from billing.quotes.models import QuoteOption
from billing.quotes.sending import send
from billing.repair_form.models import DiagnosisConsent, RepairInformationForm
from billing.repair_form.papers import file_name, render_form_pdf
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.diagnosis_fee import fee_with_tax
from repairs.jobs.models import Job
from shopdesk.errors import IncompleteError, InvalidTransitionError, RefusedError
from shopdesk.look.shop_formats import day, money
from shopdesk.mail import actions as post
from shopdesk.mail.models import Email
from shopdesk.papers.models import stored_fields
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def make(option: QuoteOption, *, stamp: Stamp) -> RepairInformationForm:
    """Create a draft form from an option of a sent quote."""
    job = Job.objects.select_for_update().get(pk=option.quote.job_id)
    shop = Shop.current()
    if not shop.uses_repair_form:
        raise RefusedError(
            gettext("The shop does not offer this form. The owner can turn it on.")
        )
    quote = option.quote
    if not quote.is_sent:
        raise InvalidTransitionError(
            gettext("The form needs a sent quote that is not answered yet.")
        )
    last = job.repair_forms.aggregate(n=Max("number"))["n"] or 0
    faults = [repair.fault.name for repair in job.repairs.select_related("fault")]
    with document_language(shop):
        measures = _measures(option)
        more = _additional_information(option, job, on=stamp.on, shop=shop)
    return RepairInformationForm.objects.create(
        job=job,
        number=last + 1,
        option=option,
        defect=quote.findings or "; ".join(faults),
        measures=measures,
        price=option.totals().gross,
        days=option.turnaround_days,
        place=" ".join(shop.address.split("\n")),
        more=more,
        made_at=stamp.at,
        made_by=stamp.by,
    )


def _measures(option: QuoteOption) -> str:
    text = f"{option.title}. {option.description}".strip()
    if not option.is_stopgap:
        return text
    return gettext("Temporary repair: {repair}").format(repair=text)


def _additional_information(
    option: QuoteOption, job: Job, *, on: date, shop: Shop
) -> str:
    notes = []
    if option.warranty_days:
        warranty = ngettext(
            "We give a repair warranty of {days} day from handover.",
            "We give a repair warranty of {days} days from handover.",
            option.warranty_days,
        )
        notes += [
            warranty.format(days=option.warranty_days),
            gettext(
                "This warranty is in addition to your legal rights and does not limit"
                " them."
            ),
        ]
    if fee := fee_with_tax(job, on=on, shop=shop):
        costs = gettext("The diagnosis fee is {fee}, as agreed.")
        notes.append(costs.format(fee=money(fee.gross, shop)))
        if shop.deducts_diagnosis_fee:
            notes.append(gettext("It is deducted from the repair price."))
    return " ".join(notes)


@transaction.atomic
def issue(form: RepairInformationForm, *, stamp: Stamp) -> RepairInformationForm:
    """Freeze the form with its paper. Its conditions now bind the shop."""
    Job.objects.select_for_update().get(pk=form.job_id)
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_issued:
        return form
    if not form.option.quote.is_sent:
        raise InvalidTransitionError(
            gettext(
                "The quote of this form is {state}. Create a new form from"
                " the current version."
            ).format(state=form.option.quote.get_state_display())
        )
    shop = Shop.current()
    if form.missing_rows(shop=shop):
        raise IncompleteError(
            gettext("The form is not complete. Fill in the fields named above.")
        )
    until = form.last_valid_day(stamp.on)
    paper = render_form_pdf(form, issued_at=stamp.at, until=until, shop=shop)
    RepairInformationForm.objects.filter(pk=form.pk, issued_at=None).update(
        issued_at=stamp.at,
        issued_by=stamp.by,
        valid_until=until,
        **stored_fields(paper),
    )
    form.refresh_from_db()
    return form


@transaction.atomic
def delete(form: RepairInformationForm) -> None:
    """Delete a draft."""
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_issued:
        raise InvalidTransitionError(
            gettext("An issued form binds the shop and cannot be deleted.")
        )
    form.delete()


@transaction.atomic
def accept(
    form: RepairInformationForm, *, who: str, how: str, stamp: Stamp
) -> RepairInformationForm:
    """Accept the form's conditions, whatever was quoted since; repeating changes
    nothing.
    """
    job = Job.objects.select_for_update().get(pk=form.job_id)
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_accepted:
        return form
    if not form.is_issued:
        raise InvalidTransitionError(gettext("This form has not been issued yet."))
    if form.is_expired(Shop.current().latest_day(stamp.on)):
        raise InvalidTransitionError(
            gettext("This form expired on {day}. Create a new one.").format(
                day=day(form.valid_until)
            )
        )
    option = _option_at_these_conditions(form, job, stamp=stamp)
    with document_language(Shop.current()):
        name = file_name(form)
    accept_quote(
        option.quote,
        option=option,
        who=who,
        how=how,
        stamp=stamp,
        attachments=[(name, "application/pdf", bytes(form.pdf))],
    )
    RepairInformationForm.objects.filter(pk=form.pk).update(
        accepted_at=stamp.at, accepted_by=who, accepted_how=how
    )
    form.refresh_from_db()
    return form


def _option_at_these_conditions(form, job, *, stamp: Stamp) -> QuoteOption:
    """Return the option while its quote is valid, else its copy in a new version."""
    quote = form.option.quote
    on = Shop.current().latest_day(stamp.on)
    if quote.is_sent and not quote.is_expired(on):
        return form.option
    live = job.quotes.live().defer("pdf").first()
    if live and live.state == states.ACCEPTED:
        raise InvalidTransitionError(
            gettext("Version {version} of the quote has already been accepted.").format(
                version=live.version
            )
        )
    if job.state not in (job_states.QUOTED, job_states.DIAGNOSED):
        raise InvalidTransitionError(
            gettext("Job {number} is {state}. Reopen it first.").format(
                number=job.number, state=job.get_state_display()
            )
        )
    if live:
        live.transition(states.REPLACED)
    if job.state == job_states.QUOTED:
        with document_language(Shop.current()):
            why = gettext("form {number} accepted").format(number=form.number)
        workflow.revise(job, stamp=stamp, why=why)
    new = next_version(quote, stamp=stamp)
    copy_option(QuoteOption.objects.get(pk=form.option_id), new)
    return send(new, stamp=stamp).options.get()


def mail(form: RepairInformationForm, *, stamp: Stamp) -> Email:
    """Email the issued form to the customer."""
    if not form.is_issued:
        raise InvalidTransitionError(gettext("Issue the form before you email it."))
    job, shop = form.job, Shop.current()
    with document_language(shop):
        subject = gettext("Repair information form for {device}")
        text = gettext(
            "Please find attached the form for job {number}. Its conditions are valid"
            " until {day}.\n\n{shop}"
        ).format(number=job.number, day=day(form.valid_until), shop=shop.name)
        name = file_name(form)
    return post.write(
        job.customer.email,
        subject=subject.format(device=job.device),
        text=text,
        attachments=[(name, "application/pdf", bytes(form.pdf))],
        about=form.get_absolute_url(),
        stamp=stamp,
    )


MAY_CONSENT = (job_states.EXPECTED, job_states.BOOKED_IN)


@transaction.atomic
def consent(
    job: Job, *, fee: Decimal, agreed_by: str, agreed_how: str, stamp: Stamp
) -> DiagnosisConsent:
    """Record that the customer agreed to the diagnosis fee."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state not in MAY_CONSENT:
        raise InvalidTransitionError(
            gettext(
                "Job {number} is {state}. Consent is recorded before the diagnosis."
            ).format(number=job.number, state=job.get_state_display())
        )
    Job.objects.filter(pk=job.pk).update(agreed_diagnosis_fee=fee)
    return DiagnosisConsent.objects.create(
        job=job,
        fee=fee,
        is_credited=Shop.current().deducts_diagnosis_fee,
        agreed_by=agreed_by,
        agreed_how=agreed_how,
        agreed_at=stamp.at,
        recorded_by=stamp.by,
    )
