"""Quotes are drafted, changed and revised.

The job is always locked before the quote, so that two people never deadlock.
"""

from datetime import date

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext

from billing.pricing.option_price import price_repairs
from billing.quotes import proposals, states
from billing.quotes.models import Quote, QuoteLine, QuoteOption
from billing.quotes.queries import fixes_in
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job
from shopdesk.errors import InvalidTransitionError, RefusedError
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.shop.setting_up import check_set_up
from shopdesk.stamp import Stamp


def lock(quote: Quote) -> tuple[Job, Quote]:
    """Return the job and the quote, freshly read and locked until the end."""
    job = Job.objects.select_for_update().get(pk=quote.job_id)
    return job, Quote.objects.select_for_update().get(pk=quote.pk)


def lock_draft(quote: Quote) -> tuple[Job, Quote]:
    """Return the locked job and quote; raise if the quote is no draft any more."""
    job, quote = lock(quote)
    if not quote.is_draft:
        raise InvalidTransitionError(
            gettext(
                "This quote is {state} and can no longer be changed. Revise it."
            ).format(state=quote.get_state_display())
        )
    return job, quote


@transaction.atomic
def draft(job: Job, *, stamp: Stamp) -> Quote:
    """Create a quote with the options that the fault book and the rates propose."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state != job_states.DIAGNOSED:
        raise InvalidTransitionError(
            gettext(
                "This job is {state}. Complete the diagnosis before you create a quote."
            ).format(state=job.get_state_display())
        )
    live = job.quotes.live().first()
    if live and not live.is_draft:
        # The job went back to diagnosis, so the old version can no longer be accepted.
        return revise(live, stamp=stamp)
    if live:
        raise InvalidTransitionError(
            gettext("Version {version} of the quote is {state}. Use that one.").format(
                version=live.version, state=live.get_state_display()
            )
        )
    shop = Shop.current()
    check_set_up(shop)
    with document_language(shop):
        quote = Quote.objects.create(
            job=job,
            version=_next_version(job),
            findings=_findings(job),
            prices_include_tax=shop.prices_include_tax,
            currency=shop.currency,
            made_by=stamp.by,
        )
        proposals.add_proposed_options(quote, on=stamp.on, shop=shop)
    return quote


def _next_version(job: Job) -> int:
    return (job.quotes.aggregate(n=Max("version"))["n"] or 0) + 1


def _findings(job: Job) -> str:
    covered, repairs = job.covered_repairs, job.repairs.select_related("fault")
    found = [repair.fault.name for repair in repairs]
    free = [repair.fault.name for repair in repairs if repair.pk in covered]
    texts = [gettext("We found: {faults}.").format(faults="; ".join(found))]
    if free:
        text = gettext("Repaired under warranty, free of charge: {faults}.")
        texts.append(text.format(faults="; ".join(free)))
    return " ".join(texts)[:2000] if found else ""


@transaction.atomic
def recalculate(option: QuoteOption, *, on: date) -> None:
    """Suggest the price for the option's days of warranty; prices charged stay."""
    if option.list_price is None:
        return
    shop = Shop.current()
    job, _ = lock_draft(option.quote)
    price = price_repairs(
        job,
        fixes_in(option),
        warranty_days=option.warranty_days,
        list_price=option.list_price,
        amounts=proposals.not_labour(option.lines.all()),
        on=on,
        shop=shop,
    )
    for name, value in proposals.price_fields(price, shop=shop).items():
        setattr(option, name, value)
    option.save()


@transaction.atomic
def add_no_repair(quote: Quote, *, on: date) -> None:
    """Add the option to return the device unrepaired, for fee and shipping only."""
    _, quote = lock_draft(quote)
    if quote.options.filter(work_kind=QuoteOption.WorkKind.RETURN).exists():
        raise RefusedError(gettext("The quote already has an option without repair."))
    shop = Shop.current()
    with document_language(shop):
        proposals.add_no_repair_option(quote, on=on, shop=shop)


@transaction.atomic
def add_board_replacement(quote: Quote, *, on: date) -> None:
    """Add the option to replace the board; its price is left to be entered."""
    _, quote = lock_draft(quote)
    shop = Shop.current()
    with document_language(shop):
        proposals.add_board_option(quote, on=on, shop=shop)


@transaction.atomic
def add_fix(quote: Quote, *, repair_pk: int, fix_pk: int, on: date) -> None:
    """Add an option with this fix for one repair of the job, at its usual price."""
    _, quote = lock_draft(quote)
    shop = Shop.current()
    with document_language(shop):
        proposals.add_fix_option(
            quote, repair_pk=repair_pk, fix_pk=fix_pk, on=on, shop=shop
        )


@transaction.atomic
def add_option(quote: Quote) -> QuoteOption:
    """Add an empty option after the others."""
    _, quote = lock_draft(quote)
    position = proposals.next_position(quote)
    with document_language(Shop.current()):
        title = gettext("Option {n}").format(n=position)
    return quote.options.create(position=position, title=title)


@transaction.atomic
def remove_option(quote: Quote, *, pk: int) -> None:
    """Remove an option from a draft; an option already removed is ignored."""
    lock_draft(quote)
    QuoteOption.objects.filter(pk=pk, quote=quote).delete()


@transaction.atomic
def remove_line(quote: Quote, *, pk: int) -> None:
    """Remove a line from a draft; a line already removed is ignored."""
    lock_draft(quote)
    QuoteLine.objects.filter(pk=pk, option__quote=quote).delete()


@transaction.atomic
def revise(quote: Quote, *, stamp: Stamp, why: str = "") -> Quote:
    """Create a new draft, copied from this version, which it replaces."""
    job, quote = lock(quote)
    if quote.is_draft:
        raise InvalidTransitionError(
            gettext("This quote is still a draft. Edit the draft.")
        )
    quote.transition(states.REPLACED)
    if job.state != job_states.DIAGNOSED:
        with document_language(Shop.current()):
            revised = gettext("quote version {version} revised")
        why = why or revised.format(version=quote.version)
        workflow.revise(job, stamp=stamp, why=why)
    new = next_version(quote, stamp=stamp)
    for option in quote.options.prefetch_related("lines"):
        copy_option(option, new)
    return new


def next_version(quote: Quote, *, stamp: Stamp) -> Quote:
    """Create an empty draft as the next version, with the findings of `quote`."""
    return Quote.objects.create(
        job=quote.job,
        version=_next_version(quote.job),
        findings=quote.findings,
        prices_include_tax=quote.prices_include_tax,
        currency=quote.currency,
        made_by=stamp.by,
    )


def copy_option(option: QuoteOption, new: Quote) -> QuoteOption:
    """Copy the option with its lines into the draft `new`."""
    lines = list(option.lines.all())
    option.pk, option.quote = None, new
    option._state.adding = True
    option.save()
    for line in lines:
        line.pk, line.option = None, option
        line._state.adding = True
    QuoteLine.objects.bulk_create(lines)
    return option
