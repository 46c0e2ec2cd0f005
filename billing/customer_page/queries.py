"""What customers are shown of their job, and nothing else."""

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
    job_states.EXPECTED: "We are waiting for your device to arrive.",
    job_states.BOOKED_IN: "Your device is here. The diagnosis comes next.",
    job_states.DIAGNOSED: "The diagnosis is complete. We are preparing a quote.",
    job_states.QUOTED: "Our quote is ready. We are waiting for your answer.",
    job_states.APPROVED: "Approved. The repair is in progress or next in line.",
    job_states.DECLINED: "No repair. We are reassembling your device.",
    job_states.REPAIRED: "The repair is done. We are testing the repair.",
    job_states.TESTED: "The repair passed its final test.",
    job_states.READY: "Ready for collection.",
    job_states.HANDED_OVER: "Handed over.",
}
BY_POST = "Ready. We will ship it to you."
UNDER_COVER = "Warranty repair in progress, free of charge."

OUTCOMES = {
    job_states.FIXED: "The device is repaired.",
    job_states.NOT_FIXED: "We could not repair it.",
    job_states.NO_FAULT_FOUND: "We could not reproduce the fault.",
    job_states.NOT_REPAIRABLE: "It cannot be repaired.",
    job_states.DECLINED_BY_CUSTOMER: "Not repaired, same condition as received.",
}

WAITING = {
    "customer": "We need your answer to continue.",
    "parts": "Waiting for parts.",
    "post": "Waiting for shipping.",
}


def offered(job: Job) -> Quote | None:
    """Return the version of the quote that the customer may see; none in draft."""
    quotes = job.quotes.live().exclude(state=states.DRAFT)
    return quotes.defer("pdf").select_related("accepted_option", "job").first()


@dataclass(frozen=True)
class Offer:
    """One option as the customer sees it, without internal figures."""

    option: QuoteOption
    lines: list
    totals: Totals


def offers(quote: Quote, *, shop: Shop) -> list[Offer]:
    places = quote.written_in(shop).places
    return [
        Offer(option, list(option.lines.all()), option.totals(places=places))
        for option in quote.options.prefetch_related("lines")
    ]


def shown_fingerprint(offered: list[Offer]) -> str:
    """Return what identifies the options shown, checked when the customer answers."""
    return " ".join(f"{one.option.pk}={one.totals.gross:f}" for one in offered)


def change_fingerprint(change: ChangeOrder | None) -> str:
    """Return the same for extra work; empty if none is waiting."""
    return f"{change.pk}={change.new_total:f}" if change else ""


@dataclass(frozen=True)
class RepairStatus:
    """The repair status, in the current language."""

    where: str
    outcome_text: str
    waiting: str
    due_on: date | None
    is_open: bool
    is_ready: bool
    warranty_until: date | None
    handed_over_on: date | None


def repair_status(job: Job) -> RepairStatus:
    is_open = job.is_open
    is_ready = job.state == job_states.READY
    covered = None if is_open else job.repairs.aggregate(day=Max("warranty_until"))
    return RepairStatus(
        where=gettext(_where(job)),
        outcome_text=_outcome(job),
        waiting=gettext(WAITING.get(job.waiting_for, "")) if is_open else "",
        due_on=job.due_on if is_open and not is_ready else None,
        is_open=is_open,
        is_ready=is_ready,
        warranty_until=covered["day"] if covered else None,
        handed_over_on=job.handed_over_on,
    )


def _where(job: Job) -> str:
    """Return the status as a sentence."""
    if job.state == job_states.READY and job.came_by == Job.CameBy.POST:
        return BY_POST
    if job.state == job_states.APPROVED and job.approved_warranty_repair:
        return UNDER_COVER
    return WHERE[job.state]


def _outcome(job: Job) -> str:
    """Return the outcome once the job is closed; empty before."""
    if job.is_open and job.state != job_states.READY:
        return ""
    return gettext(OUTCOMES.get(job.outcome, ""))
