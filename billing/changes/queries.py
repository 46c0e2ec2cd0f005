"""What was agreed beyond the accepted option, and the cost of the work so far."""

from dataclasses import dataclass
from decimal import Decimal

from django.db.models import F, Sum

from billing.changes.models import ChangeLine, ChangeOrder
from billing.quotes import states
from billing.quotes.models import Line, LineKind, Quote
from repairs.jobs.models import Job, Labour, PartUsed
from shopdesk.fields import MoneyField
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import labour_price


def accepted_quote(job: Job) -> Quote | None:
    """Return the accepted quote of the job, if any."""
    quotes = job.quotes.filter(state=states.ACCEPTED).defer("pdf")
    return quotes.select_related("accepted_option", "job").first()


def agreed_changes(job: Job) -> list[ChangeOrder]:
    """Return the extra work that the customer agreed to, each with its answer."""
    changes = ChangeOrder.objects.agreed().filter(
        quote__job=job, quote__state=states.ACCEPTED
    )
    return list(changes.for_list())


def open_change(quote: Quote | None) -> ChangeOrder | None:
    """Return the extra work that the customer has not answered."""
    return quote and quote.changes.open().prefetch_related("lines").first()


def all_agreed(quote: Quote) -> list[Line]:
    """Return all agreed lines of this quote: its option and extra work."""
    changed = ChangeLine.objects.filter(change__in=quote.changes.agreed())
    return [
        *quote.accepted_option.lines.all(),
        *changed.order_by("change_id", "position"),
    ]


def agreed_total(quote: Quote) -> Decimal:
    return quote.totals_of(all_agreed(quote)).gross


@dataclass(frozen=True)
class WorkProgress:
    """Work done and work agreed, with tax if the shop's prices include it."""

    agreed: Decimal
    done: Decimal
    written_in: Currency

    @property
    def over(self) -> Decimal:
        return max(Decimal(0), self.done - self.agreed)


def so_far(job: Job, *, shop: Shop) -> WorkProgress | None:
    """Return parts and labour since acceptance, at list prices, and what is agreed.

    Fees and work under warranty do not count, and labour before acceptance was the
    diagnosis. None if no price was agreed.
    """
    quote = accepted_quote(job)
    if quote is None or quote.currency != shop.currency or job.approved_warranty_repair:
        return None
    agreed = sum(
        (one.amount for one in all_agreed(quote) if one.kind != LineKind.FEE),
        Decimal(0),
    )
    covered = job.covered_repairs
    used = PartUsed.objects.filter(repair__job=job).exclude(repair__in=covered)
    parts = used.aggregate(
        sum=Sum(F("quantity") * F("price"), output_field=MoneyField())
    )["sum"]
    labour = Labour.objects.filter(
        job=job,
        repair__isnull=False,
        is_billable=True,
        booked_at__gte=quote.answered_at,
    ).exclude(repair__in=covered)
    minutes = labour.aggregate(sum=Sum("minutes"))["sum"] or 0
    if minutes:
        minutes = max(minutes, shop.minimum_minutes)
    worked = labour_price(minutes, rates=shop.rates())
    return WorkProgress(
        agreed=agreed, done=worked + (parts or 0), written_in=quote.written_in(shop)
    )
