"""Quotes and repair forms of the demo shop, and how customers answer them."""

from collections.abc import Callable

from django.urls import reverse

from billing.customer_page import actions as links
from billing.customer_page.queries import as_shown, offers
from billing.quotes import answering, drafting, sending
from billing.quotes.links import create_link
from billing.quotes.models import Link, Quote, QuoteOption
from billing.repair_form import actions as forms
from billing.repair_form.models import RepairInformationForm
from repairs.jobs.models import Job
from shopdesk.demo.bench_stories import booked_in, diagnosed, wait_for
from shopdesk.demo.story import Story
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

SIGNATURE = (
    "M40 140L60 60L80 50L92 74L84 110L60 132L48 138M100 130L112 96L128 92L132 112L120"
    " 130L138 126L152 92L160 88L162 128L178 92L192 90L196 128L212 120M228 128L262 40"
    "L276 36L280 52L262 96L240 128L300 118"
)
"""An illegible name, drawn by hand."""
PHONE, LINK, SCREEN = Quote.How.PHONE, Quote.How.LINK, Quote.How.SCREEN

# --- sent -----------------------------------------------------------------------------


def send_quote(story: Story, job: Job, *, days: int, link: str = "") -> Quote:
    stamp = story.stamp(days, 16, story.counter)
    quote = drafting.draft(job, on=stamp.on, by=story.bench)
    quote = sending.send(quote, on=stamp.on, at=stamp.at, by=stamp.by, link=link)
    job.refresh_from_db()
    return quote


def _make_link(story: Story, job: Job, stamp: Stamp) -> tuple[Link, str]:
    return create_link(job, on=stamp.on, at=stamp.at, by=story.counter)


def _issue_form(
    story: Story, option: QuoteOption, *, days: int
) -> RepairInformationForm:
    stamp = story.stamp(days, 17, story.counter)
    form = forms.make(option, at=stamp.at, by=stamp.by)
    return forms.give(form, on=stamp.on, at=stamp.at, by=stamp.by)


def consented_to_diagnosis(story: Story, code: str, *, days: int) -> Job:
    """The diagnosis fee was agreed at the counter."""
    job = booked_in(story, code, days=days)
    stamp = story.stamp(days, 12, story.counter)
    forms.consent(
        job,
        fee=Shop.current().diagnosis_fee,
        who=job.customer.name,
        how=Quote.How.COUNTER,
        at=stamp.at,
        by=stamp.by,
    )
    return job


def quoted(story: Story, code: str, *, days: int) -> Job:
    job = diagnosed(story, code, days=days)
    send_quote(story, job, days=days - 1)
    wait_for(story, job, "customer")
    return job


def quoted_by_link(story: Story, code: str, *, days: int) -> Job:
    """The quote bears a link at which the customer can answer; an earlier link is
    revoked."""
    job = diagnosed(story, code, days=days)
    stamp = story.stamp(days - 1, 15, story.counter)
    old, _ = _make_link(story, job, stamp)
    links.revoke(old, at=stamp.at, by=stamp.by)
    link, token = _make_link(story, job, stamp)
    story.link = story.site + reverse("link:page", args=[token])
    send_quote(story, job, days=days - 1, link=story.link)
    link.count_view(at=story.stamp(days - 2, 19, None).at)
    wait_for(story, job, "customer")
    return job


def quoted_by_form(story: Story, code: str, *, days: int) -> Job:
    """One option was issued as a form, the form of another is a draft."""
    job = diagnosed(story, code, days=days)
    quote = send_quote(story, job, days=days - 1)
    options = [*quote.options.all()]
    _issue_form(story, options[0], days=days - 1)
    stamp = story.stamp(days - 2, 11, story.counter)
    forms.make(options[-1], at=stamp.at, by=stamp.by)
    wait_for(story, job, "customer")
    return job


def revised(story: Story, code: str, *, days: int) -> Job:
    """The customer asked for an alternative: a new version is being drafted."""
    job = diagnosed(story, code, days=days)
    quote = send_quote(story, job, days=days - 1)
    stamp = story.stamp(days - 2, 9, story.counter)
    new = drafting.revise(quote, by=stamp.by)
    drafting.add_no_repair(new, on=stamp.on)
    job.refresh_from_db()
    return job


# --- answered -------------------------------------------------------------------------


def approved(story: Story, code: str, *, days: int, how: str = PHONE) -> Job:
    """The customer accepted: by phone, by link, or on the counter's screen."""
    job = diagnosed(story, code, days=days)
    quote = send_quote(story, job, days=days - 1)
    option = story.pick.choice([*quote.options.filter(does=QuoteOption.Does.REPAIR)])
    stamp = story.stamp(days - 2, 9, None if how == LINK else story.counter)
    answer = {
        "option": option,
        "version": quote.version,
        "who": job.customer.name,
        "how": how,
        "on": stamp.on,
        "at": stamp.at,
        "by": stamp.by,
    }
    if how == PHONE:
        answering.accept(quote, **answer)
    else:
        if how == LINK:
            link, _ = _make_link(story, job, stamp)
            link.count_view(at=stamp.at)
        shown = as_shown(offers(quote, shop=Shop.current()))
        ink = SIGNATURE if how == SCREEN else ""
        links.accept_online(quote, shown=shown, ink=ink, **answer)
    job.refresh_from_db()
    wait_for(story, job, "")
    return job


def approved_by_form(story: Story, code: str, *, days: int) -> Job:
    """The customer accepted the conditions of a repair form."""
    job = diagnosed(story, code, days=days)
    quote = send_quote(story, job, days=days - 1)
    form = _issue_form(story, quote.options.first(), days=days - 1)
    stamp = story.stamp(days - 2, 9, story.counter)
    forms.accept(
        form,
        who=job.customer.name,
        how=Quote.How.EMAIL,
        on=stamp.on,
        at=stamp.at,
        by=stamp.by,
    )
    job.refresh_from_db()
    wait_for(story, job, "")
    return job


def declined(story: Story, code: str, *, days: int, how: str = PHONE) -> Job:
    job = diagnosed(story, code, days=days)
    quote = send_quote(story, job, days=days - 1)
    stamp = story.stamp(days - 3, 20 if how == LINK else 11, story.counter)
    answer = {
        "version": quote.version,
        "who": job.customer.name,
        "why": "A new one costs little more.",
        "how": how,
        "at": stamp.at,
    }
    if how == LINK:
        link, _ = _make_link(story, job, stamp)
        link.count_view(at=stamp.at)
        shown = as_shown(offers(quote, shop=Shop.current()))
        links.decline_online(quote, shown=shown, **answer)
    else:
        answering.decline(quote, by=stamp.by, **answer)
    job.refresh_from_db()
    return job


def declined_by_link(story: Story, code: str, *, days: int) -> Job:
    return declined(story, code, days=days, how=LINK)


STORIES: tuple[Callable[..., Job], ...] = (
    consented_to_diagnosis,
    quoted,
    quoted_by_form,
    quoted_by_link,
    revised,
    declined_by_link,
)
