"""The quote on paper."""

from datetime import datetime

from django.utils.translation import gettext

from billing.quotes.models import Quote
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop

SIDE_BY_SIDE = 8
"""Options with at most this many lines are printed side by side."""
MOST_BESIDE = 4


def render_quote_pdf(
    quote: Quote, *, shop: Shop, made_at: datetime, link: str = ""
) -> bytes:
    """Render the quote; a draft is marked as one.

    `link` is the address at which the customer can answer online.
    """
    job = quote.job
    written_in = quote.written_in(shop)
    options = [
        {
            "number": n,
            "option": option,
            "lines": list(option.lines.all()),
            "totals": option.totals(places=written_in.places),
        }
        for n, option in enumerate(quote.options.prefetch_related("lines"), 1)
    ]
    several_rates = any(len(one["totals"].groups) > 1 for one in options)
    side_by_side = 2 <= len(options) <= MOST_BESIDE and all(
        len(one["lines"]) <= SIDE_BY_SIDE for one in options
    )
    in_row = 3 if len(options) == 3 else 2
    return render_pdf(
        "billing/quotes/paper.html",
        {
            "shop": shop,
            "quote": quote,
            "job": job,
            "device": job.device,
            "customer": job.customer,
            "options": options,
            "several_rates": several_rates,
            "side_by_side": side_by_side and not several_rates,
            "rows": [options[n : n + in_row] for n in range(0, len(options), in_row)],
            "written_in": written_in,
            "has_warranty": any(one["option"].warranty_days for one in options),
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
