"""What the fault book and the shop's rates propose for a job."""

from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from hashlib import sha256
from typing import TYPE_CHECKING

from django.db.models import Count, Prefetch, Q
from django.utils.translation import gettext

from billing.pricing.comeback_price import Bearing, Mended, Price, priced
from billing.pricing.list_price import (
    LABOUR,
    PART,
    Fee,
    ListLine,
    Rates,
    Wanted,
    Work,
    fee_line,
    labour_lines,
    labour_price,
    list_total,
    part_line,
)
from billing.quotes.known import words_of_all
from billing.quotes.models import Option, Quote
from repairs.faults import declared
from repairs.faults.models import Fix, UsualPart
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.stock.models import Part
from repairs.stock.queries import current_costs
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import money

if TYPE_CHECKING:
    from billing.quotes.reckoned.queries import OnRecord

Chosen = list[tuple[Repair, Fix | None]]
USUAL_DAYS = 3  # that an option takes, where nothing is on record


@dataclass
class Proposed:
    """A line of a proposal, and what it stands for in the books."""

    line: ListLine
    part: Part | None = None
    repair: Repair | None = None
    fix: Fix | None = None


@dataclass
class Proposal:
    """An option as the fault book and the rates would have it."""

    title: str
    words: str
    declared: str
    cover_days: int
    lines: list[Proposed]
    fixes: Chosen = field(default_factory=list)
    does: str = Option.Does.REPAIR
    known: str = ""
    days_to_do: int = USUAL_DAYS
    price: Price | None = None


def _on_record(**asked) -> "OnRecord":
    """The shop's record; its reckoning is imported by the first quote that asks."""
    from billing.quotes.reckoned.queries import on_record

    return on_record(**asked)


def _days_to_do(fixes: list[Fix]):
    from billing.quotes.reckoned.queries import days_to_do

    return days_to_do(fixes)


def rates_of(shop: Shop) -> Rates:
    return Rates(
        hour=shop.labour_rate,
        minimum_minutes=shop.minimum_minutes,
        step=shop.rounding_step,
        markups=shop.markups(),
        places=shop.places,
    )


def proposals(job: Job, *, on: date, shop: Shop) -> list[Proposal]:
    """A lasting option and a stopgap, as far as the fault book has both."""
    record = _on_record(on=on, shop=shop)
    repairs = [
        (repair, _best_fixes(repair))
        for repair in job.repairs.select_related("fault", "fix")
        if repair.outcome not in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
    ]
    if not repairs:
        return []
    found = []
    for kind, other in (
        (declared.LASTING, declared.STOPGAP),
        (declared.STOPGAP, declared.LASTING),
    ):
        if any(kind in best for _, best in repairs):
            chosen = [(r, best.get(kind) or best.get(other)) for r, best in repairs]
            found.append(_proposal(job, chosen, kind, shop, record))
    return found or [_proposal(job, [(r, None) for r, _ in repairs], "", shop, record)]


def _best_fixes(repair: Repair) -> dict[str, Fix]:
    """The fix of each kind to propose: the bench's own, else the most usual one."""
    done = Count(
        "repairs",
        filter=Q(repairs__fault=repair.fault, repairs__outcome=states.FIXED),
        distinct=True,
    )
    book = (
        Fix.objects.filter(
            Q(faults=repair.fault, is_retired=False) | Q(pk=repair.fix_id)
        )
        .distinct()
        .annotate(done=done)
        .prefetch_related(Prefetch("usual_parts__part"))
        .order_by("-done", "minutes", "code")
    )
    best: dict[str, Fix] = {}
    for fix in sorted(book, key=lambda fix: fix.pk != repair.fix_id):
        best.setdefault(_kind(repair, fix), fix)
    return best


def _kind(repair: Repair, fix: Fix) -> str:
    """Lasting or stopgap: as the bench said it, else as the book has it."""
    if fix.pk == repair.fix_id and repair.declared:
        return repair.declared
    return fix.declared


def _proposal(job, chosen, kind, shop, record) -> Proposal:
    rates = rates_of(shop)
    usual = [
        (fix, usual) for _, fix in chosen if fix for usual in fix.usual_parts.all()
    ]
    costs = current_costs(usual.part for _, usual in usual)
    work = [
        Work(
            text=gettext("{work}, labour").format(
                work=fix.name if fix else repair.fault.name
            ),
            minutes=record.minutes(repair.fault_id, fix) if fix else 0,
        )
        for repair, fix in chosen
    ]
    lines = [
        Proposed(line, repair=repair, fix=fix)
        for line, (repair, fix) in zip(
            labour_lines(work, rates=rates), chosen, strict=True
        )
    ]
    for _, one in usual:
        wanted = Wanted(
            text=" ".join(filter(None, [one.part.name, one.part.value])),
            quantity=one.quantity,
            cost=costs.get(one.part_id),
            fixed=one.part.fixed_price,
        )
        lines.append(Proposed(part_line(wanted, rates=rates), part=one.part))
    lines += [Proposed(fee_line(fee)) for fee in _fees(job, shop)]
    days = min(
        fix.cover_days if fix and fix.cover_days is not None else shop.cover_days(kind)
        for _, fix in chosen
    )
    price = reckoned(
        job,
        chosen,
        cover_days=days,
        list_price=list_total([one.line for one in lines], places=shop.places),
        on=record.as_of,
        shop=shop,
    )
    if price is not None and price.is_raised:
        lines[0].line = replace(
            lines[0].line, price=lines[0].line.price + price.raised_by
        )
    took = _days_to_do([fix for _, fix in chosen if fix])
    return Proposal(
        title=_title(chosen, kind),
        words=_words(kind),
        declared=kind,
        cover_days=days,
        lines=lines,
        fixes=chosen,
        known=known_of(chosen, record=record, within=shop.watch_days),
        days_to_do=max(took.values(), default=USUAL_DAYS),
        price=price,
    )


def known_of(chosen: Chosen, *, record: "OnRecord", within: int) -> str:
    """What the customer is told that the shop knows of all this."""
    return words_of_all(
        [
            (repair.fault.name, record.words(repair.fault_id, fix.pk, within=within))
            for repair, fix in chosen
            if fix
        ]
    )[:300]


def reckoned(
    job: Job,
    chosen: Chosen,
    *,
    cover_days: int,
    list_price: Decimal,
    on: date,
    shop: Shop,
) -> Price | None:
    """The price of an option that bears its comebacks; None where no fix is known."""
    mended = mended_by(chosen, cover_days=cover_days, on=on, shop=shop)
    if not mended:
        return None
    tax = Decimal(0)
    if shop.prices_include_tax:
        tax = shop.tax(on, job.customer.tax_kind).rate
    fees = (job.fee_agreed or Decimal(0)) + _parcel(job, shop)
    return priced(
        mended,
        fees=fees / (1 + tax / 100),
        list_price=list_price,
        by=Bearing(
            hour=shop.cost_rate,
            parcel=_parcel(job, shop),
            margin=shop.target_margin,
            tax=tax,
            step=shop.rounding_step,
            places=shop.places,
        ),
    )


def mended_by(chosen: Chosen, *, cover_days: int, on: date, shop: Shop) -> list[Mended]:
    """What mending each fault takes, and its chance to come back while covered."""
    record = _on_record(on=on, shop=shop)
    fixes = [(repair, fix) for repair, fix in chosen if fix]
    usual = list(
        UsualPart.objects.filter(fix__in=[fix for _, fix in fixes]).select_related(
            "part"
        )
    )
    costs = current_costs({one.part for one in usual})
    return [
        Mended(
            minutes=record.minutes(repair.fault_id, fix),
            parts=sum(
                (
                    (costs.get(one.part_id) or Decimal(0)) * one.quantity
                    for one in usual
                    if one.fix_id == fix.pk
                ),
                Decimal(0),
            ),
            chance=record.chance(repair.fault_id, fix.pk, days=cover_days),
        )
        for repair, fix in fixes
    ]


def chosen_in(option: Option) -> Chosen:
    """Which repairs an option deals with, and by which fix."""
    lines = option.lines.select_related("repair__fault", "fix")
    found = {line.repair_id: (line.repair, line.fix) for line in lines if line.repair}
    if not found and option.repair:
        return [(option.repair, option.fix)]
    return list(found.values())


def _parcel(job: Job, shop: Shop) -> Decimal:
    return shop.parcel if job.came_by == Job.CameBy.POST else Decimal(0)


def _title(chosen, kind) -> str:
    if len(chosen) == 1:
        repair, fix = chosen[0]
        if fix:
            return fix.name
        return gettext("Repair: {fault}").format(fault=repair.fault.name)[:120]
    if kind == declared.LASTING:
        said = gettext("Lasting repair of {n} faults")
    elif kind == declared.STOPGAP:
        said = gettext("Stopgap of {n} faults")
    else:
        said = gettext("Repair of {n} faults")
    return said.format(n=len(chosen))


def _words(kind) -> str:
    """What an option of this kind means to the customer."""
    if kind == declared.LASTING:
        return gettext("Puts the fault itself right, and is meant to last.")
    if kind == declared.STOPGAP:
        return gettext(
            "Makes the device work again for now. The cause stays, so the fault can"
            " come back."
        )
    return ""


def _fees(job: Job, shop: Shop) -> list[Fee]:
    """The fee for finding the fault, unless a repair pays for it; and the parcel."""
    if job.fee_agreed and shop.credits_fee:
        # A line of nothing says so, and a bill may not hold a price below nought.
        fee = money(job.fee_agreed, shop)
        off = gettext("Finding the fault: {fee}, taken off").format(fee=fee)
        return [Fee(off, Decimal(0)), *_parcel_fee(job, shop)]
    return _fees_alone(job, shop)


def _fees_alone(job: Job, shop: Shop) -> list[Fee]:
    """The fee and the parcel, where nothing is mended that would pay for them."""
    fees = []
    if job.fee_agreed:
        fees.append(Fee(gettext("Finding the fault, as agreed"), job.fee_agreed))
    return fees + _parcel_fee(job, shop)


def _parcel_fee(job: Job, shop: Shop) -> list[Fee]:
    if not _parcel(job, shop):
        return []
    return [Fee(gettext("Parcel back to you"), shop.parcel)]


def giving_back(job: Job, *, shop: Shop) -> Proposal:
    """The device goes back as it came: only the fee and the parcel."""
    nothing = Fee(gettext("Given back, nothing charged"), Decimal(0))
    return Proposal(
        title=gettext("Give it back unmended"),
        words=gettext("We put it together again, and nothing is mended."),
        declared="",
        cover_days=0,
        lines=[Proposed(fee_line(fee)) for fee in _fees_alone(job, shop) or [nothing]],
        does=Option.Does.RETURN,
        days_to_do=1,
    )


BOARD_MINUTES = 60  # of changing a board, where the shop says nothing else


def changing_the_board(job: Job, *, shop: Shop) -> Proposal:
    """Another board in place of the faulty one; the desk writes what it costs."""
    minutes = max(BOARD_MINUTES, shop.minimum_minutes)
    labour = labour_price(minutes, rates=rates_of(shop))
    lines = [
        ListLine(LABOUR, gettext("Replace the board, labour"), Decimal(1), labour),
        ListLine(PART, gettext("Replacement board"), Decimal(1), None),
        *(fee_line(fee) for fee in _fees(job, shop)),
    ]
    return Proposal(
        title=gettext("Replace the board"),
        words=gettext(
            "Another board goes in, so the fault goes with the old one. What was stored"
            " on the old board may be lost: keep a copy."
        ),
        declared=declared.LASTING,
        cover_days=shop.cover_days(declared.LASTING),
        lines=[Proposed(line) for line in lines],
        does=Option.Does.REPLACE,
        days_to_do=7,
    )


def seen(quote: Quote) -> str:
    """A short mark of all that a draft holds: another after any change of it."""
    options = quote.options.order_by("position").values_list(
        *("pk", "title", "words", "declared", "cover_days", "days_to_do"),
        *("does", "known", "why_changed"),
    )
    lines = quote.options.order_by("lines__id").values_list(
        *("lines__id", "lines__kind", "lines__text", "lines__quantity"),
        *("lines__price", "lines__tax_kind"),
    )
    held = (quote.words, list(options), list(lines))
    return sha256(repr(held).encode()).hexdigest()[:20]
