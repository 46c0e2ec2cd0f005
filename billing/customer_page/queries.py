"""What customers are shown of their job."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Max
from django.utils.translation import gettext

from billing.changes.models import ChangeOrder
from billing.quotes import states
from billing.quotes.models import Quote, QuoteOption
from repairs.jobs import states as job_states
from repairs.jobs.models import Job

STATUS = {
    job_states.EXPECTED: "We are waiting for your device to arrive.",
    job_states.BOOKED_IN: "Your device is here. The diagnosis comes next.",
    job_states.DIAGNOSED: "The diagnosis is complete. We are preparing a quote.",
    job_states.QUOTED: "Our quote is ready. We are waiting for your answer.",
    job_states.APPROVED: "Approved. The repair is in progress or next in line.",
    job_states.DECLINED: "No repair. We are reassembling your device.",
    job_states.REPAIRED: "The repair is done. We are now testing it.",
    job_states.TESTED: "The repair passed its final test.",
    job_states.READY: "Ready for collection.",
    job_states.HANDED_OVER: "Handed over.",
}
READY_TO_SHIP = "Ready. We will ship it to you."
WARRANTY_REPAIR = "Warranty repair in progress, free of charge."

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


def quote_shown(job: Job) -> Quote | None:
    """Return the version of the quote that the customer may see; none in draft."""
    quotes = job.quotes.live().exclude(state=states.DRAFT)
    return quotes.defer("pdf").select_related("accepted_option", "job").first()


def shown_fingerprint(options: Iterable[QuoteOption]) -> str:
    """Return a fingerprint of the options shown, checked when the customer answers."""
    return " ".join(f"{option.pk}={option.totals().gross:f}" for option in options)


def change_fingerprint(change: ChangeOrder | None) -> str:
    """Return the fingerprint of the extra work; empty if none is waiting."""
    return f"{change.pk}={change.new_total:f}" if change else ""


def status_texts(job: Job) -> list[str]:
    """Return the repair status in the current language: first the status itself, then
    the outcome of a closed job and whom an open one waits for.
    """
    texts = [_status_text(job)]
    if job.state in (job_states.READY, job_states.HANDED_OVER):
        texts.append(OUTCOMES.get(job.outcome, ""))
    if job.is_open:
        texts.append(WAITING.get(job.waiting_for, ""))
    return [gettext(text) for text in texts if text]


def _status_text(job: Job) -> str:
    if job.state == job_states.READY and job.came_by == Job.CameBy.POST:
        return READY_TO_SHIP
    if job.state == job_states.APPROVED and job.approved_warranty_repair:
        return WARRANTY_REPAIR
    return STATUS[job.state]


def warranty_until(job: Job) -> date | None:
    """Return the last day of the repair warranty; None while the job is open."""
    if job.is_open:
        return None
    return job.repairs.aggregate(day=Max("warranty_until"))["day"]
