"""The quote on paper."""

from datetime import datetime

from django.utils.translation import gettext

from billing.quotes.models import Quote
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop

MAX_BESIDE = 4
MAX_LINES_BESIDE = 8
"""With up to so many options and lines each, options are printed side by side."""


def render_quote_pdf(
    quote: Quote, *, shop: Shop, made_at: datetime, link: str = ""
) -> bytes:
    """Render the quote; a draft is marked as one.

    `link` is the address at which the customer can answer online.
    """
    options = list(quote.options.prefetch_related("lines"))
    has_several_rates = any(len(option.totals().groups) > 1 for option in options)
    is_side_by_side = (
        not has_several_rates
        and 2 <= len(options) <= MAX_BESIDE
        and all(len(option.lines.all()) <= MAX_LINES_BESIDE for option in options)
    )
    numbered = list(enumerate(options, 1))
    in_row = 3 if len(options) == 3 else 2
    rows = [numbered[n : n + in_row] for n in range(0, len(options), in_row)]
    return render_pdf(
        "billing/quotes/paper.html",
        {
            "shop": shop,
            "quote": quote,
            "job": quote.job,
            "options": numbered,
            "rows": rows if is_side_by_side else [],
            "several_rates": has_several_rates,
            "written_in": quote.written_in(shop),
            "has_warranty": any(option.warranty_days for option in options),
            "link": link,
        },
        size=shop.paper,
        made_at=made_at,
    )


def file_name(quote: Quote) -> str:
    """Return the name of its PDF, in the language of papers."""
    return gettext("quote-{number}-{version}.pdf").format(
        number=quote.job.number, version=quote.version
    )
