"""A form is made from an option, given, and accepted at its conditions.

The job is always locked before its quotes: two people never wait for each other.
"""

import json
from datetime import date, datetime
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
from billing.repair_form.papers import form_paper
from billing.repair_form.terms import holds_until, lacks, written
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.errors import IncompleteError, InvalidTransitionError, RefusedError
from shopdesk.papers.models import stored_fields
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp
from shopdesk.templatetags.desk import day, money


@transaction.atomic
def make(option: QuoteOption, *, at: datetime, by) -> RepairInformationForm:
    """A form to be filled up, from an option of a quote that was sent."""
    job = Job.objects.select_for_update().get(pk=option.quote.job_id)
    shop = Shop.current()
    if not shop.uses_repair_form:
        raise RefusedError(
            "The shop does not offer this form: the owner can turn it on."
        )
    quote = option.quote
    if not quote.is_sent:
        raise InvalidTransitionError(
            "The form is made from a quote that was sent and not answered."
        )
    totals = option.totals(places=quote.written_in(shop).places)
    last = job.repair_forms.aggregate(n=Max("number"))["n"] or 0
    with document_language(shop):
        measures, more = _measures(option), _more(option, job, shop)
    return RepairInformationForm.objects.create(
        job=job,
        number=last + 1,
        option=option,
        defect=quote.words or "; ".join(r.fault.name for r in _repairs(job)),
        measures=measures,
        price=totals.gross,
        days=option.turnaround_days,
        place=" ".join(shop.address.split("\n")),
        currency=quote.currency,
        more=more,
        made_at=at,
        made_by=by,
    )


def _repairs(job: Job):
    return job.repairs.select_related("fault")


def _measures(option: QuoteOption) -> str:
    said = f"{option.title}. {option.words}".strip()
    if not option.is_stopgap:
        return said
    return gettext("Temporary repair: {repair}").format(repair=said)


def _more(option: QuoteOption, job: Job, shop: Shop) -> str:
    said = []
    if option.warranty_days:
        covered = ngettext(
            "We cover this repair for {days} day.",
            "We cover this repair for {days} days.",
            option.warranty_days,
        )
        said.append(covered.format(days=option.warranty_days))
    if job.agreed_diagnosis_fee:
        fee = money(job.agreed_diagnosis_fee, shop)
        costs = gettext("Finding the fault costs {fee}, as agreed.")
        said.append(costs.format(fee=fee))
        if shop.deducts_diagnosis_fee:
            said.append(gettext("It comes off the price of the repair."))
    return " ".join(said)


@transaction.atomic
def give(
    form: RepairInformationForm, *, on: date, at: datetime, by
) -> RepairInformationForm:
    """Freeze the form with its paper. From now on its conditions bind the shop."""
    Job.objects.select_for_update().get(pk=form.job_id)
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_given:
        return form
    if not form.option.quote.is_sent:
        raise InvalidTransitionError(
            f"The quote it was made from is {form.option.quote.get_state_display()}:"
            " make a new form from the one that holds."
        )
    shop = Shop.current()
    terms = form.terms(shop=shop)
    if lacks(terms):
        raise IncompleteError("The form is not complete: fill in what is named above.")
    until = holds_until(on, days=form.valid_days)
    paper = form_paper(form, terms=terms, given_at=at, until=until, shop=shop)
    RepairInformationForm.objects.filter(pk=form.pk, given_at=None).update(
        given_at=at,
        given_by=by,
        valid_until=until,
        said=json.dumps(written(terms)),
        **stored_fields(paper),
    )
    form.refresh_from_db()
    return form


@transaction.atomic
def drop(form: RepairInformationForm) -> None:
    """Throw a draft away."""
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_given:
        raise InvalidTransitionError("A form that was given binds the shop and stays.")
    form.delete()


@transaction.atomic
def accept(
    form: RepairInformationForm, *, who: str, how: str, on: date, at: datetime, by
) -> RepairInformationForm:
    """The customer says yes at the form's conditions, whatever was quoted since.

    The same yes twice is one yes.
    """
    job = Job.objects.select_for_update().get(pk=form.job_id)
    form = RepairInformationForm.objects.select_for_update().get(pk=form.pk)
    if form.is_accepted:
        return form
    if not form.is_given:
        raise InvalidTransitionError("This form was not given to the customer yet.")
    if form.has_ended(on):
        raise InvalidTransitionError(
            f"This form held until {day(form.valid_until)}. Make a new one with"
            " conditions that hold now."
        )
    option = _option_at_these_conditions(form, job, on=on, at=at, by=by)
    with document_language(Shop.current()):
        name = gettext("form-{number}.pdf").format(number=job.number)
    accept_quote(
        option.quote,
        option=option,
        version=option.quote.version,
        who=who,
        how=how,
        on=on,
        at=at,
        by=by,
        attachments=[(name, "application/pdf", bytes(form.paper))],
    )
    RepairInformationForm.objects.filter(pk=form.pk).update(
        accepted_at=at, accepted_by=who, accepted_how=how
    )
    form.refresh_from_db()
    return form


def _option_at_these_conditions(form, job, *, on, at, by) -> QuoteOption:
    """The option while its quote holds, else a new version that says the same."""
    quote = form.option.quote
    if quote.is_sent and not quote.is_expired(on):
        return form.option
    live = job.quotes.live().defer("paper").first()
    if live and live.state == states.ACCEPTED:
        raise InvalidTransitionError(
            f"There is a yes to version {live.version} of the quote already."
        )
    if job.state not in (job_states.QUOTED, job_states.DIAGNOSED):
        raise InvalidTransitionError(
            f"Job {job.number} is {job.get_state_display()}: open it again first."
        )
    if live:
        live.step(states.REPLACED)
    if job.state == job_states.QUOTED:
        why = f"the conditions of form {form.number} are taken up"
        workflow.revise(job, stamp=Stamp(at, by), why=why)
    new = next_version(quote, by=by)
    copy_option(QuoteOption.objects.get(pk=form.option_id), new)
    return send(new, on=on, at=at, by=by).options.get()


@transaction.atomic
def consent(
    job: Job, *, fee: Decimal, who: str, how: str, at: datetime, by
) -> DiagnosisConsent:
    """Write down that the customer agreed to pay for finding the fault."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state not in (job_states.EXPECTED, job_states.BOOKED_IN):
        raise InvalidTransitionError(
            f"Job {job.number} is {job.get_state_display()}: this is agreed before the"
            " fault is looked for."
        )
    made = DiagnosisConsent.objects.create(
        job=job,
        fee=fee,
        is_credited=Shop.current().deducts_diagnosis_fee,
        agreed_by=who,
        agreed_how=how,
        agreed_at=at,
        taken_by=by,
    )
    Job.objects.filter(pk=job.pk).update(agreed_diagnosis_fee=fee)
    return made
