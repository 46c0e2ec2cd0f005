"""A link is revoked; the customer answers online."""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext, gettext_lazy

from billing.customer_page.models import Signature
from billing.customer_page.queries import as_shown, offers
from billing.quotes import states
from billing.quotes.answering import accept, decline
from billing.quotes.drafting import lock
from billing.quotes.letters import NO_LINKS, AnswerLinks
from billing.quotes.models import Link, Quote, QuoteOption
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError, StaleError
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import day


def revoke(link: Link, *, at: datetime, by) -> None:
    """Make the link invalid; revoking it twice is revoking it once."""
    Link.objects.filter(pk=link.pk, revoked_at=None).update(
        revoked_at=at, revoked_by=by
    )


CHANGED = gettext_lazy(
    "This quote was changed meanwhile. Nothing was ordered. Please check the current"
    " version."
)


@transaction.atomic
def accept_online(
    quote: Quote,
    *,
    option: QuoteOption,
    version: int,
    shown: str,
    who: str,
    how: str,
    on: date,
    at: datetime,
    by=None,
    ink: str = "",
    links: AnswerLinks = NO_LINKS,
) -> Quote:
    """Accept exactly what the customer was shown."""
    _, quote = _as_it_was_shown(quote, version=version, shown=shown)
    was = quote.state
    if was == states.ACCEPTED and quote.chosen_id == option.pk:
        return quote
    _open_to_customer(quote)
    if quote.is_expired(on):
        raise RefusedError(
            gettext(
                "This quote expired on {day}. Nothing was ordered. Please ask us for a"
                " new quote."
            ).format(day=day(quote.valid_until))
        )
    quote = accept(
        quote,
        option=option,
        version=version,
        who=who,
        how=how,
        on=on,
        at=at,
        by=by,
        links=links,
    )
    if ink:
        Signature.objects.create(quote=quote, ink=ink)
    return quote


@transaction.atomic
def decline_online(
    quote: Quote,
    *,
    version: int,
    shown: str,
    why: str,
    who: str,
    how: str,
    at: datetime,
    by=None,
    links: AnswerLinks = NO_LINKS,
) -> Quote:
    """Decline the quote, with the customer's reason."""
    _, quote = _as_it_was_shown(quote, version=version, shown=shown)
    if quote.state == states.DECLINED:
        return quote
    _open_to_customer(quote)
    return decline(
        quote, version=version, why=why, who=who, how=how, at=at, by=by, links=links
    )


def _as_it_was_shown(quote: Quote, *, version: int, shown: str) -> tuple[Job, Quote]:
    """Return the locked job and quote; raise if they are not as shown."""
    job, quote = lock(quote)
    now = as_shown(offers(quote, shop=Shop.current()))
    if quote.state in (states.REPLACED, states.DRAFT) or (version, shown) != (
        quote.version,
        now,
    ):
        raise StaleError(CHANGED)
    if quote.is_sent and job.state != job_states.QUOTED:
        raise RefusedError(
            gettext(
                "We are checking your device again, and the quote will be revised."
                " Nothing was ordered."
            )
        )
    return job, quote


def _open_to_customer(quote: Quote) -> None:
    if quote.state == states.ACCEPTED:
        raise RefusedError(
            gettext(
                "“{option}” was already accepted on {day}. Please contact us to change"
                " it."
            ).format(option=quote.chosen, day=day(quote.answered_at))
        )
    if quote.state == states.DECLINED:
        raise RefusedError(
            gettext(
                "This quote was declined on {day}. Please contact us if you have"
                " changed your mind."
            ).format(day=day(quote.answered_at))
        )
