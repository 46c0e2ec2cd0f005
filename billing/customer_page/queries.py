"""What the customer is shown of their job, and nothing else."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Max
from django.utils.translation import gettext

from billing.changes.models import ChangeOrder
from billing.quotes import states
from billing.quotes.models import Quote, QuoteOption
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk.money import Totals
from shopdesk.shop.models import Shop

WHERE = {
    job_states.EXPECTED: "We are waiting for it to arrive.",
    job_states.BOOKED_IN: "It is here, and we will look for the fault.",
    job_states.DIAGNOSED: "We have found the fault and are working out what it costs.",
    job_states.QUOTED: "We have told you what it costs, and wait for your answer.",
    job_states.APPROVED: "You said yes: it is being mended, or next in line for it.",
    job_states.DECLINED: "It will not be mended. We are putting it together for you.",
    job_states.REPAIRED: "The work is done. We are trying whether it holds.",
    job_states.TESTED: "The work is done and has proven itself. We are finishing up.",
    job_states.READY: "It is ready for you to collect.",
    job_states.HANDED_OVER: "You have it back.",
}
BY_POST = "It is ready, and will come to you by post."
UNDER_COVER = "It is being mended under cover: this costs you nothing."

CAME_OF_IT = {
    job_states.FIXED: "It is mended.",
    job_states.NOT_FIXED: "We could not mend it.",
    job_states.NO_FAULT_FOUND: "We could not make the fault show.",
    job_states.NOT_REPAIRABLE: "It can’t be mended at a bench.",
    job_states.DECLINED_BY_CUSTOMER: "It is as you brought it.",
}

WAITING = {
    "customer": "We need an answer from you to go on.",
    "parts": "Parts for it are on their way to us.",
    "post": "It waits for the post.",
}


def offered(job: Job) -> Quote | None:
    """The version of the quote that the customer may see; none while one is written."""
    quotes = job.quotes.live().exclude(state=states.DRAFT)
    return quotes.defer("paper").select_related("chosen", "job").first()


@dataclass(frozen=True)
class Offer:
    """One option as the customer sees it: what was worked out inside stays there."""

    option: QuoteOption
    lines: list
    totals: Totals


def offers(quote: Quote, *, shop: Shop) -> list[Offer]:
    places = quote.written_in(shop).places
    return [
        Offer(option, list(option.lines.all()), option.totals(places=places))
        for option in quote.options.prefetch_related("lines")
    ]


def as_shown(offered: list[Offer]) -> str:
    """What the customer has before them, to be held against the books with the yes."""
    return " ".join(f"{one.option.pk}={one.totals.gross:f}" for one in offered)


def change_as_shown(change: ChangeOrder | None) -> str:
    """The same for a change; empty where none waits."""
    return f"{change.pk}={change.new_total:f}" if change else ""


@dataclass(frozen=True)
class Whereabouts:
    """Where the device is, in the customer's words and the language of the moment."""

    where: str
    came_of_it: str
    waiting: str
    due_on: date | None
    is_open: bool
    is_ready: bool
    warranty_until: date | None
    handed_over_on: date | None


def whereabouts(job: Job) -> Whereabouts:
    is_open = job.is_open
    is_ready = job.state == job_states.READY
    covered = None if is_open else job.repairs.aggregate(day=Max("warranty_until"))
    return Whereabouts(
        where=gettext(_where(job)),
        came_of_it=_outcome(job),
        waiting=gettext(WAITING.get(job.waiting_for, "")) if is_open else "",
        due_on=job.due_on if is_open and not is_ready else None,
        is_open=is_open,
        is_ready=is_ready,
        warranty_until=covered["day"] if covered else None,
        handed_over_on=job.handed_over_on,
    )


def _where(job: Job) -> str:
    """Return a sentence on where the job is."""
    if job.state == job_states.READY and job.came_by == Job.CameBy.POST:
        return BY_POST
    if job.state == job_states.APPROVED and job.approved_warranty_repair:
        return UNDER_COVER
    return WHERE[job.state]


def _outcome(job: Job) -> str:
    """Return what came of it, once the bench has finished; empty before."""
    if job.is_open and job.state != job_states.READY:
        return ""
    return gettext(CAME_OF_IT.get(job.outcome, ""))
