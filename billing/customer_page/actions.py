"""Revoke a customer's link, and record the customer's online answer."""

from django.db import transaction
from django.utils.translation import gettext, gettext_lazy

from billing.customer_page.models import Signature
from billing.customer_page.queries import shown_fingerprint
from billing.quotes import states
from billing.quotes.answering import accept, decline
from billing.quotes.drafting import lock
from billing.quotes.models import Link, Quote, QuoteOption
from repairs.jobs import states as job_states
from shopdesk.errors import RefusedError, StaleError
from shopdesk.look.shop_formats import day
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


def revoke(link: Link, *, stamp: Stamp) -> None:
    """Revoke the link; repeating it changes nothing."""
    Link.objects.filter(pk=link.pk, revoked_at=None).update(
        revoked_at=stamp.at, revoked_by=stamp.by
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
    shown: str,
    stamp: Stamp,
    ink: str = "",
    **answer,
) -> Quote:
    """Accept what the customer was shown; `answer` as in `accept`."""
    quote = _lock_as_shown(quote, shown=shown)
    if quote.state == states.ACCEPTED and quote.accepted_option_id == option.pk:
        return quote
    _check_unanswered(quote)
    if quote.is_expired(Shop.current().latest_day(stamp.on)):
        raise RefusedError(
            gettext(
                "This quote expired on {day}. Nothing was ordered. Please ask us for a"
                " new quote."
            ).format(day=day(quote.valid_until))
        )
    quote = accept(quote, option=option, stamp=stamp, **answer)
    if ink:
        Signature.objects.create(quote=quote, ink=ink)
    return quote


@transaction.atomic
def decline_online(quote: Quote, *, shown: str, **answer) -> Quote:
    """Decline what the customer was shown; `answer` as in `decline`."""
    quote = _lock_as_shown(quote, shown=shown)
    if quote.state == states.DECLINED:
        return quote
    _check_unanswered(quote)
    return decline(quote, **answer)


def _lock_as_shown(quote: Quote, *, shown: str) -> Quote:
    """Return the locked quote; raise if it is not the one that was shown."""
    job, quote = lock(quote)
    current = shown_fingerprint(quote.options.prefetch_related("lines"))
    if quote.state in (states.REPLACED, states.DRAFT) or shown != current:
        raise StaleError(CHANGED)
    if quote.is_sent and job.state != job_states.QUOTED:
        raise RefusedError(
            gettext(
                "We are checking your device again, and the quote will be revised."
                " Nothing was ordered."
            )
        )
    return quote


def _check_unanswered(quote: Quote) -> None:
    if quote.state == states.ACCEPTED:
        raise RefusedError(
            gettext(
                "“{option}” was already accepted on {day}. Please contact us to change"
                " it."
            ).format(option=quote.accepted_option, day=day(quote.answered_at))
        )
    if quote.state == states.DECLINED:
        raise RefusedError(
            gettext(
                "This quote was declined on {day}. Please contact us if you have"
                " changed your mind."
            ).format(day=day(quote.answered_at))
        )
