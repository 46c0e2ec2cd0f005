"""What the customer is shown of their job, and nothing else."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Max
from django.utils.translation import gettext

from billing.quotes import states
from billing.quotes.changes.models import ChangeOrder
from billing.quotes.link import words
from billing.quotes.models import Option, Quote
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk.money import Totals
from shopdesk.shop.models import Shop


def offered(job: Job) -> Quote | None:
    """The version of the quote that the customer may see; none while one is written."""
    quotes = job.quotes.live().exclude(state=states.DRAFT)
    return quotes.defer("paper").select_related("chosen", "job").first()


@dataclass(frozen=True)
class Offer:
    """One option as the customer sees it: what was worked out inside stays there."""

    option: Option
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
    promised_on: date | None
    is_open: bool
    is_ready: bool
    covered_until: date | None
    handed_back_on: date | None


def whereabouts(job: Job) -> Whereabouts:
    is_open = job.is_open
    is_ready = job.state == job_states.READY
    covered = None if is_open else job.repairs.aggregate(day=Max("covered_until"))
    return Whereabouts(
        where=gettext(
            words.where(
                job.state,
                is_by_post=job.came_by == Job.CameBy.POST,
                is_under_cover=job.state == job_states.APPROVED
                and job.approved_under_cover,
            )
        ),
        came_of_it=gettext(words.came_of_it(job.state, job.outcome)),
        waiting=gettext(words.WAITING.get(job.waiting_on, "")) if is_open else "",
        promised_on=job.promised_on if is_open and not is_ready else None,
        is_open=is_open,
        is_ready=is_ready,
        covered_until=covered["day"] if covered else None,
        handed_back_on=job.handed_back_on,
    )
