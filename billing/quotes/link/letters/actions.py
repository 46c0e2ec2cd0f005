"""An answer is told by mail, in its own transaction: either both are kept or none.

A letter that can't be written (no address, or none that works) stops no answer.
"""

from collections.abc import Sequence
from datetime import date, datetime

from django.utils import timezone

from billing.quotes import states
from billing.quotes.changes.models import ChangeAnswer
from billing.quotes.link.letters.printing import letter_words
from billing.quotes.link.letters.queries import fee_for_finding
from billing.quotes.link.letters.ways import Ways
from billing.quotes.models import Quote
from billing.quotes.printing import file_name
from shopdesk.post import actions as post
from shopdesk.post.models import Letter
from shopdesk.printing import in_paper_language
from shopdesk.shop.models import Shop

BY_THEMSELVES = (Quote.How.LINK, Quote.How.SCREEN)
"""Nobody of the shop took these answers down."""

Paper = tuple[str, str, bytes]
"""Name, media type and content of what is enclosed."""


def tell_of_answer(
    quote: Quote, *, ways: Ways, at: datetime, by, papers: Sequence[Paper] = ()
) -> None:
    """To a quote that was answered just now; `papers` go with it to the customer."""
    shop, job, on = Shop.current(), quote.job, timezone.localdate(at)
    facts = {
        "said": "yes" if quote.state == states.ACCEPTED else "no",
        "who": one_line(quote.answered_by),
        "how": quote.get_answered_how_display(),
        "why": one_line(quote.answer_why),
        "at": at,
        "promised": _to_come(job.promised_on, on=on),
    }
    if option := quote.chosen:
        places = quote.written_in(shop).places
        facts |= {"option": option, "totals": option.totals(places=places)}
        papers = [kept(quote, shop=shop), *papers]
    else:
        facts["fee"] = fee_for_finding(job, on=on, shop=shop)
    _tell(
        quote,
        facts,
        template=facts["said"],
        papers=papers,
        tells_shop=shop.tells_shop and quote.answered_how in BY_THEMSELVES,
        shop=shop,
        ways=ways,
        about=quote.get_absolute_url(),
        at=at,
        by=by,
    )


def tell_of_change(given: ChangeAnswer, *, ways: Ways, at: datetime, by) -> None:
    """Of the answer to a change of what was agreed; taking it back is none."""
    if given.said == ChangeAnswer.Said.WITHDRAWN:
        return
    shop, change = Shop.current(), given.change
    is_yes = given.said == ChangeAnswer.Said.YES
    _tell(
        change.quote,
        {
            "change": change,
            "said": given.said,
            "who": one_line(given.who),
            "how": given.get_how_display(),
            "why": one_line(given.why),
            "at": given.said_at,
        },
        template="change",
        papers=[kept(change.quote, shop=shop)] if is_yes else [],
        tells_shop=shop.tells_shop and given.how in BY_THEMSELVES,
        shop=shop,
        ways=ways,
        about=change.get_absolute_url(),
        at=at,
        by=by,
    )


def kept(quote: Quote, *, shop: Shop) -> Paper:
    """The quote's paper as it was sent, byte for byte."""
    with in_paper_language(shop):
        return file_name(quote), "application/pdf", bytes(quote.paper)


def one_line(typed: str) -> str:
    """What a visitor typed, so that it can't pass for lines of ours."""
    return " ".join(typed.split())


def _to_come(day: date | None, *, on: date) -> date | None:
    return day if day and day > on else None


def _tell(
    quote: Quote,
    facts: dict,
    *,
    template: str,
    papers: Sequence[Paper],
    tells_shop: bool,
    shop: Shop,
    ways: Ways,
    **when,
) -> None:
    job = quote.job
    facts |= {
        "quote": quote,
        "job": job,
        "device": job.device,
        "customer": job.customer,
        "written_in": quote.written_in(shop),
    }
    told = None
    if shop.tells_customer:
        words = letter_words(template, {**facts, "link": ways.link}, shop=shop)
        told = _posted(job.customer.email, words, papers, **when)
    if tells_shop:
        desk = f"{ways.desk}{job.get_absolute_url()}"
        words = letter_words("shop", {**facts, "told": told, "desk": desk}, shop=shop)
        _posted(shop.email, words, (), **when)


def _posted(to: str, words: tuple[str, str], papers, **when) -> Letter | None:
    """The letter in the outbox; None where nobody can be written to."""
    subject, text = words
    try:
        return post.write(to, subject=subject, text=text, attachments=papers, **when)
    except post.Unsendable:
        return None
