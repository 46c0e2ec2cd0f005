"""What a job's bill consists of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from billing.invoices.models import InvoiceLine
from billing.quotes import states as quote_states
from billing.quotes.models import LineKind, Quote, QuoteLine
from repairs.jobs import states
from repairs.jobs.models import Job, NotYet
from shopdesk import money
from shopdesk.shop.models import Shop
from shopdesk.shop.tax import Tax


@dataclass
class Bill:
    """A bill that is not issued yet: its lines, its sums, and what it rests on."""

    lines: list[InvoiceLine]
    owners: list[int | None]
    totals: money.Totals
    currency: str
    prices_include_tax: bool
    quote: Quote | None = None
    words: str = ""


def bill_of(job: Job, *, on: date, shop: Shop) -> Bill:
    """What the job costs: the accepted option, nothing under cover, or the fee.

    Raises NotYet for work that nobody agreed to pay and no cover bears.
    """
    if job.outcome != states.FIXED:
        return _bill_without_repair(job, on, shop)
    quote = job.quotes.filter(state=quote_states.ACCEPTED).defer("paper").first()
    if quote and not job.approved_under_cover:
        lines = list(quote.chosen.lines.all())
        return _bill(
            [_copied(line) for line in lines],
            owners=[line.repair_id for line in lines],
            currency=quote.currency,
            prices_include_tax=quote.prices_include_tax,
            shop=shop,
            quote=quote,
        )
    if job.is_under_cover:
        return _bill_under_cover(job, on, shop)
    raise NotYet(
        "Nobody said yes to a price for this work, and it is not under cover: open the"
        " job again and quote for it."
    )


def _bill(
    lines: Sequence[InvoiceLine],
    *,
    owners: Sequence[int | None],
    currency: str,
    prices_include_tax: bool,
    shop: Shop,
    quote: Quote | None = None,
) -> Bill:
    bill = Bill(
        lines=list(lines),
        owners=list(owners),
        totals=money.totals([]),
        currency=currency,
        prices_include_tax=prices_include_tax,
        quote=quote,
    )
    places = quote.written_in(shop).places if quote else shop.places
    bill.totals = money.totals(
        [line.as_money() for line in lines],
        places=places,
        prices_include_tax=prices_include_tax,
    )
    for position, line in enumerate(bill.lines, 1):
        line.position = position
        line.reckon(places=places)
    return bill


def _copied(line: QuoteLine) -> InvoiceLine:
    return InvoiceLine(
        kind=line.kind,
        text=line.text,
        quantity=line.quantity,
        price=line.price,
        tax_kind=line.tax_kind,
        tax_rate=line.tax_rate,
        tax_reason=line.tax_reason,
    )


def _line(kind: str, text: str, price: Decimal, held: Tax) -> InvoiceLine:
    line = InvoiceLine(
        kind=kind,
        text=text[:200],
        quantity=Decimal(1),
        price=price,
    )
    line.set_tax(held)
    return line


def _bill_under_cover(job: Job, on: date, shop: Shop) -> Bill:
    """All that was done, at no price: the customer sees the work, and pays nothing."""
    lines = []
    held = shop.tax(on, job.customer.tax_kind)
    repairs = job.repairs.filter(outcome=states.FIXED)
    for repair in repairs.select_related("fix").prefetch_related("parts_used__part"):
        lines.append(
            _line(LineKind.LABOUR, f"{repair.fix.name}, under cover", Decimal(0), held)
        )
        for used in repair.parts_used.all():
            text = " ".join(filter(None, [used.part.name, used.part.value]))
            line = _line(LineKind.PART, f"{text}, under cover", Decimal(0), held)
            line.quantity = Decimal(used.quantity)
            lines.append(line)
    return _bill(
        lines,
        owners=[None] * len(lines),
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        shop=shop,
    )


def _bill_without_repair(job: Job, on: date, shop: Shop) -> Bill:
    """No repair came of it: only the fee for finding the fault, if one was agreed."""
    fee = Decimal(0) if job.is_under_cover else job.fee_agreed or Decimal(0)
    held = shop.tax(on, job.customer.tax_kind)
    text = "Finding the fault" if fee else "Looked at, nothing charged"
    return _bill(
        [_line(LineKind.FEE, f"{text} ({job.get_outcome_display()})", fee, held)],
        owners=[None],
        currency=shop.currency,
        prices_include_tax=shop.prices_include_tax,
        shop=shop,
    )
