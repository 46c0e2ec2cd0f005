"""What the fault book and the shop's rates propose for a job."""

from dataclasses import dataclass, field

from django.db.models import Count, Prefetch, Q

from billing.pricing.list_price import (
    Fee,
    ListLine,
    Rates,
    Wanted,
    Work,
    fee_line,
    labour_lines,
    part_line,
)
from repairs.faults import declared
from repairs.faults.models import Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.stock.models import Part
from repairs.stock.queries import costs_now
from shopdesk.shop.models import Shop

WORDS = {
    declared.LASTING: "Puts the fault itself right, and is meant to last.",
    declared.STOPGAP: (
        "Makes the device work again for now. The cause stays, so the fault can come"
        " back."
    ),
}


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
    fixes: list[tuple[Repair, Fix | None]] = field(default_factory=list)


def rates_of(shop: Shop) -> Rates:
    return Rates(
        hour=shop.labour_rate,
        minimum_minutes=shop.minimum_minutes,
        step=shop.rounding_step,
        markups=shop.markups(),
        places=shop.places,
    )


def proposals(job: Job, *, shop: Shop) -> list[Proposal]:
    """A lasting option and a stopgap, as far as the fault book has both."""
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
            found.append(_proposal(job, chosen, kind, shop))
    return found or [_proposal(job, [(r, None) for r, _ in repairs], "", shop)]


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


def _proposal(job, chosen, kind, shop) -> Proposal:
    rates = rates_of(shop)
    usual = [
        (fix, usual) for _, fix in chosen if fix for usual in fix.usual_parts.all()
    ]
    costs = costs_now(usual.part for _, usual in usual)
    work = [
        Work(
            text=f"{fix.name if fix else repair.fault.name}, labour",
            minutes=fix.minutes if fix else 0,
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
    days = [
        fix.cover_days if fix and fix.cover_days is not None else shop.cover_days(kind)
        for _, fix in chosen
    ]
    return Proposal(
        title=_title(chosen, kind),
        words=WORDS.get(kind, ""),
        declared=kind,
        cover_days=min(days),
        lines=lines,
        fixes=chosen,
    )


def _title(chosen, kind) -> str:
    if len(chosen) == 1:
        repair, fix = chosen[0]
        return fix.name if fix else f"Repair: {repair.fault.name}"[:120]
    word = {declared.LASTING: "Lasting repair", declared.STOPGAP: "Stopgap"}
    return f"{word.get(kind, 'Repair')} of {len(chosen)} faults"


def _fees(job: Job, shop: Shop) -> list[Fee]:
    fees = []
    if job.fee_agreed:
        fees.append(Fee("Finding the fault, as agreed", job.fee_agreed))
    if job.came_by == Job.CameBy.POST and shop.parcel:
        fees.append(Fee("Parcel back to you", shop.parcel))
    return fees
