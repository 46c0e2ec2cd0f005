"""Quotes, repair forms and extra work of the demo shop, and how customers answer."""

from decimal import Decimal

from django.urls import reverse

from billing.changes import actions as changes
from billing.changes.models import ChangeLine, ChangeOrder
from billing.customer_page import actions as links
from billing.customer_page.queries import shown_fingerprint
from billing.quotes import answering, drafting, sending
from billing.quotes.links import create_link
from billing.quotes.models import LineKind, Link, Quote, QuoteOption
from billing.repair_form import actions as forms
from billing.repair_form.models import RepairInformationForm
from repairs.jobs.models import Job
from shopdesk.demo.bench_steps import wait
from shopdesk.demo.story import Story, step
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

SIGNATURE = (
    "M40 140L60 60L80 50L92 74L84 110L60 132L48 138M100 130L112 96L128 92L132 112L120"
    " 130L138 126L152 92L160 88L162 128L178 92L192 90L196 128L212 120M228 128L262 40"
    "L276 36L280 52L262 96L240 128L300 118"
)
"""An illegible signature, drawn by hand."""

# --- sent -----------------------------------------------------------------------------


def _quote_of(job: Job) -> Quote:
    return Quote.objects.filter(job=job).latest("id")


@step
def consent(story: Story, job: Job, days: int) -> None:
    """Agree the diagnosis fee at the counter."""
    stamp = story.stamp(days, 12, story.counter)
    forms.consent(
        job,
        fee=Shop.current().diagnosis_fee,
        agreed_by=job.customer.name,
        agreed_how=Quote.How.COUNTER,
        stamp=stamp,
    )


@step
def quote(story: Story, job: Job, days: int, how: str = "") -> None:
    """Send a quote; `link` prints the address at which the customer can answer it."""
    address = ""
    if how == "link":
        stamp = story.stamp(days - 1, 15, story.counter)
        revoked, _ = _create_link(story, job, stamp)
        links.revoke(revoked, stamp=stamp)
        link, token = _create_link(story, job, stamp)
        address = story.link = story.site + reverse("link:page", args=[token])
    stamp = story.stamp(days - 1, 16, story.counter)
    draft = drafting.draft(job, stamp=Stamp(stamp.at, story.bench))
    sending.send(draft, link=address, stamp=stamp)
    if how == "link":
        link.count_view(at=story.stamp(days - 2, 19, None).at)


def _create_link(story: Story, job: Job, stamp: Stamp) -> tuple[Link, str]:
    return create_link(job, stamp=Stamp(stamp.at, story.counter))


@step
def revise(story: Story, job: Job, days: int) -> None:
    """Start a new version with the option of no repair."""
    stamp = story.stamp(days - 2, 9, story.counter)
    new = drafting.revise(_quote_of(job), stamp=stamp)
    drafting.add_no_repair(new, on=stamp.on)


@step
def issue_form(story: Story, job: Job, days: int) -> None:
    """Issue the first option as a repair information form."""
    stamp = story.stamp(days - 1, 17, story.counter)
    form = forms.make(_quote_of(job).options.first(), stamp=stamp)
    forms.issue(form, stamp=stamp)


@step
def draft_form(story: Story, job: Job, days: int) -> None:
    """Leave the form of the last option as a draft."""
    stamp = story.stamp(days - 2, 11, story.counter)
    forms.make(_quote_of(job).options.last(), stamp=stamp)


@step
def extra_work(story: Story, job: Job, days: int) -> None:
    """Ask the customer to agree to more work."""
    line = ChangeLine(
        kind=LineKind.PART,
        text="Flat cable, torn at the fold",
        quantity=Decimal(1),
        price=Decimal("11.50"),
    )
    rules = Shop.current().tax_rules(story.day(days - 3))
    line.set_tax(rules.of(line.kind, job.customer.as_buyer))
    stamp = story.stamp(days - 3, 10, story.bench)
    why = "With the case open, we found the flat cable torn."
    changes.record(job, why=why, lines=[line], stamp=stamp)


# --- answered -------------------------------------------------------------------------


@step
def accept(story: Story, job: Job, days: int, how: str = Quote.How.PHONE) -> None:
    """Accept by phone, by link, on the counter's screen, or by the repair form."""
    if how == "form":
        stamp = story.stamp(days - 2, 9, story.counter)
        forms.accept(
            RepairInformationForm.objects.filter(job=job).latest("id"),
            who=job.customer.name,
            how=Quote.How.EMAIL,
            stamp=stamp,
        )
    else:
        _accept_option(story, job, days, how)
    job.refresh_from_db()
    wait(story, job, days)


def _accept_option(story: Story, job: Job, days: int, how: str) -> None:
    sent = _quote_of(job)
    option = story.pick.choice(
        [*sent.options.filter(work_kind=QuoteOption.WorkKind.REPAIR)]
    )
    by_link = how == Quote.How.LINK
    stamp = story.stamp(days - 2, 9, None if by_link else story.counter)
    answer = {
        "option": option,
        "who": job.customer.name,
        "how": how,
        "stamp": stamp,
    }
    if how == Quote.How.PHONE:
        answering.accept(sent, **answer)
    else:
        if by_link:
            _open_link(story, job, stamp)
        ink = "" if by_link else SIGNATURE
        links.accept_online(sent, shown=_shown(sent), ink=ink, **answer)


@step
def decline(story: Story, job: Job, days: int, how: str = Quote.How.PHONE) -> None:
    by_link = how == Quote.How.LINK
    hour, user = (20, None) if by_link else (11, story.counter)
    stamp = story.stamp(days - 3, hour, user)
    sent = _quote_of(job)
    answer = {
        "who": job.customer.name,
        "why": "A new one costs little more.",
        "how": how,
        "stamp": stamp,
    }
    if by_link:
        _open_link(story, job, stamp)
        links.decline_online(sent, shown=_shown(sent), **answer)
    else:
        answering.decline(sent, **answer)


def _open_link(story: Story, job: Job, stamp: Stamp) -> None:
    link, _ = _create_link(story, job, stamp)
    link.count_view(at=stamp.at)


def _shown(sent: Quote) -> str:
    return shown_fingerprint(sent.options.prefetch_related("lines"))


@step
def answer_extra_work(story: Story, job: Job, days: int, how: str) -> None:
    """Answer `yes` or `no` by phone."""
    stamp = story.stamp(days - 3, 11, story.counter)
    changes.answer(
        ChangeOrder.objects.get(quote__job=job),
        decision=how,
        who=job.customer.name,
        how=Quote.How.PHONE,
        reached_at=job.customer.phone,
        why="" if how == "yes" else "Not worth it for this device.",
        stamp=stamp,
    )
