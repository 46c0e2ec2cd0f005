"""The customer accepts or declines a quote; repeating an answer changes nothing."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext

from billing.pricing.comeback_price import PricingRules, allocate, comeback_allowance_of
from billing.pricing.option_price import repair_costs
from billing.quotes import states
from billing.quotes.answer_emails import NO_LINKS, AnswerLinks, Attachment, email_answer
from billing.quotes.drafting import lock
from billing.quotes.models import Quote, QuoteOption
from billing.quotes.queries import fixes_in, parts_in
from repairs.jobs import states as job_states
from repairs.jobs import workflow
from repairs.jobs.models import Job, Repair
from repairs.jobs.reserving import reserve_quoted
from shopdesk.errors import InvalidTransitionError
from shopdesk.look.shop_formats import day
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def accept(
    quote: Quote,
    *,
    option: QuoteOption,
    who: str,
    how: str,
    stamp: Stamp,
    links: AnswerLinks = NO_LINKS,
    attachments: Sequence[Attachment] = (),
) -> Quote:
    """Accept `option` and confirm it by email, with `attachments` besides the quote."""
    job, quote = lock(quote)
    if quote.state == states.ACCEPTED and quote.accepted_option_id == option.pk:
        return quote
    _check_open(job, quote)
    if option.quote_id != quote.pk:
        raise InvalidTransitionError(gettext("This option is not part of this quote."))
    if quote.is_expired(Shop.current().latest_day(stamp.on)):
        raise InvalidTransitionError(
            gettext("This quote expired on {day}. Revise it and send it again.").format(
                day=day(quote.valid_until)
            )
        )
    quote.transition(
        states.ACCEPTED,
        accepted_option=option,
        answered_at=stamp.at,
        answered_how=how,
        answered_by=who,
    )
    with document_language(Shop.current()):
        why = gettext("quote version {version}: {title}")
    why = why.format(version=quote.version, title=option.title)[:500]
    if option.is_no_repair:
        workflow.decline(job, stamp=stamp, why=why)
    else:
        _update_repairs(option)
        _store_comeback_allowance(option, on=stamp.on)
        workflow.approve(job, stamp=stamp, why=why)
        reserve_quoted(job, parts_in(option), stamp=stamp)
    email_answer(quote, links=links, stamp=stamp, attachments=attachments)
    return quote


@transaction.atomic
def decline(
    quote: Quote,
    *,
    why: str,
    who: str,
    how: str,
    stamp: Stamp,
    links: AnswerLinks = NO_LINKS,
) -> Quote:
    """Decline the quote; this is possible after its last day, too."""
    job, quote = lock(quote)
    if quote.state == states.DECLINED:
        return quote
    _check_open(job, quote)
    quote.transition(
        states.DECLINED,
        answered_at=stamp.at,
        answered_how=how,
        answered_by=who,
        answer_why=why,
    )
    workflow.decline(job, stamp=stamp, why=why)
    email_answer(quote, links=links, stamp=stamp)
    return quote


def _check_open(job: Job, quote: Quote) -> None:
    """Raise if the quote was revised, answered or withdrawn meanwhile."""
    if quote.state == states.REPLACED:
        raise InvalidTransitionError(
            gettext(
                "The quote was revised meanwhile. Show the customer the new version."
            )
        )
    if quote.state in (states.ACCEPTED, states.DECLINED):
        answered = (
            gettext("{who} has already answered this quote: accepted “{option}”.")
            if quote.accepted_option
            else gettext("{who} has already answered this quote: declined.")
        )
        raise InvalidTransitionError(
            answered.format(who=quote.answered_by, option=quote.accepted_option)
        )
    if quote.is_sent and job.state != job_states.QUOTED:
        raise InvalidTransitionError(
            gettext(
                "The job went back to diagnosis after this quote was sent. Revise the"
                " quote and send it again."
            )
        )


def _update_repairs(option: QuoteOption) -> None:
    """Set fix, type and warranty of each repair to what the customer accepted."""
    fixes = {repair.pk: fix for repair, fix in fixes_in(option) if fix}
    for repair, fix in fixes.items():
        kind = option.fix_type if len(fixes) == 1 else fix.fix_type
        Repair.objects.filter(pk=repair, job=option.quote.job_id).update(
            fix=fix, fix_type=kind or fix.fix_type, warranty_days=option.warranty_days
        )


def _store_comeback_allowance(option: QuoteOption, *, on: date) -> None:
    """Share the comeback allowance of the accepted price among its repairs."""
    if option.comeback_allowance is None:
        return
    shop = Shop.current()
    selected = [(repair, fix) for repair, fix in fixes_in(option) if fix]
    weights = [Decimal(1)]  # of one repair, which gets all of it
    if len(selected) > 1:
        by = PricingRules(
            hourly_cost=shop.hourly_cost, parcel=Decimal(0), margin=Decimal(0)
        )
        days = option.warranty_days
        costs = repair_costs(selected, warranty_days=days, on=on, shop=shop)
        weights = [comeback_allowance_of(cost, by=by) for cost in costs]
    shares = allocate(option.comeback_allowance, by=weights, places=option.quote.places)
    for (repair, _), share in zip(selected, shares, strict=True):
        Repair.objects.filter(pk=repair.pk, job=option.quote.job_id).update(
            comeback_allowance=max(share, Decimal(0))
        )
