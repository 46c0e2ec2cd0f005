"""Send a quote: freeze it with its paper, and email it."""

from datetime import timedelta

from django.db import transaction
from django.utils.translation import gettext

from billing.einvoice.buyer import default_buyer
from billing.einvoice.en16931 import check_reverse_charge
from billing.quotes import states
from billing.quotes.drafting import lock
from billing.quotes.models import LineKind, Quote, QuoteOption
from billing.quotes.papers import file_name, render_quote_pdf
from repairs.jobs import workflow
from shopdesk.errors import IncompleteError, InvalidTransitionError
from shopdesk.look.shop_formats import day
from shopdesk.mail import actions as post
from shopdesk.mail.models import Email
from shopdesk.papers.models import stored_fields
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def send(quote: Quote, *, stamp: Stamp, link: str = "") -> Quote:
    """Freeze the quote with its paper; it is valid for the shop's number of days.

    `link` is printed on it: the address at which the customer can answer online.
    """
    job, quote = lock(quote)
    states.check_transition(quote.state, states.SENT)
    options = list(quote.options.prefetch_related("lines"))
    if not options:
        raise IncompleteError(gettext("Add at least one option."))
    shop = Shop.current()
    buyer = default_buyer(job.customer, shop)
    for option in options:
        _check_complete(option)
        check_reverse_charge({line.tax_category for line in option.lines.all()}, buyer)
    quote.sent_at = stamp.at
    quote.valid_until = stamp.on + timedelta(days=shop.quote_days)
    # The paper must not be marked as a draft.
    quote.state = states.SENT
    paper = render_quote_pdf(quote, shop=shop, made_at=stamp.at, link=link)
    quote.state = states.DRAFT
    quote.transition(
        states.SENT,
        sent_at=stamp.at,
        valid_until=quote.valid_until,
        **stored_fields(paper),
    )
    workflow.quote(job, stamp=stamp)
    return quote


def _check_complete(option: QuoteOption) -> None:
    """Raise if lines, the price of a board, or the reason for a price is missing."""
    lines = option.lines.all()
    if not lines:
        raise IncompleteError(
            gettext("“{title}” has no lines. Add one.").format(title=option.title)
        )
    for line in lines:
        if option.is_board and line.kind == LineKind.PART and not line.price:
            raise IncompleteError(
                gettext("Enter the price of “{text}” in “{title}”.").format(
                    text=line.text, title=option.title
                )
            )
    if option.above_suggestion() and not option.price_reason.strip():
        raise IncompleteError(
            gettext(
                "The price of “{title}” differs from the suggestion. Enter a reason."
            ).format(title=option.title)
        )


def mail(quote: Quote, *, link: str, stamp: Stamp) -> Email:
    """Email the quote's paper with the link by which it can be answered."""
    if not quote.is_sent:
        raise InvalidTransitionError(
            gettext(
                "This quote is {state}. Only a sent quote without an answer"
                " can be emailed."
            ).format(state=quote.get_state_display())
        )
    job, shop = quote.job, Shop.current()
    with document_language(shop):
        subject = gettext("Quote for your {device} ({number})")
        text = gettext(
            "Please find attached our quote for job {number}, valid until {day}.\n\nYou"
            " can also read and answer it online:\n{link}\n\n{shop}"
        ).format(
            number=job.number, day=day(quote.valid_until), link=link, shop=shop.name
        )
        name = file_name(quote)
    return post.write(
        job.customer.email,
        subject=subject.format(device=job.device.model, number=job.number),
        text=text,
        attachments=[(name, "application/pdf", bytes(quote.pdf))],
        about=quote.get_absolute_url(),
        stamp=stamp,
    )
