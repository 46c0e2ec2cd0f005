"""The options that the fault book and the shop's rates propose for a job.

Every price of an option is built here: list price, comeback allowance, minimum price.
"""

from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from django.db.models import Count, Prefetch, Q
from django.utils.translation import gettext

from billing.pricing.comeback_price import Price, PricingRules, RepairCost, price_option
from billing.pricing.track_record_words import describe_all, describe_track_record
from repairs.faults import fix_types
from repairs.faults.models import Fix, UsualPart
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.knowledge.track_record import (
    TrackRecord,
    load_track_record,
    turnaround_days,
)
from repairs.stock.models import Part
from repairs.stock.queries import current_costs
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import (
    LABOUR,
    PART,
    ListLine,
    PartNeed,
    PlannedLabour,
    fee_line,
    labour_lines,
    labour_price,
    list_total,
    part_line,
)
from shopdesk.templatetags.desk import money

FixOfRepair = tuple[Repair, Fix | None]

REPAIR, REPLACE, RETURN = "repair", "replace", "return"
"""What an option does: repair, replace the board, or return the device unrepaired."""

USUAL_DAYS = 3  # turnaround of an option without a track record
BOARD_MINUTES = 60  # to replace a board, unless the shop's minimum is more


@dataclass
class ProposedLine:
    """A line of a proposal, and the records it stands for."""

    line: ListLine
    part: Part | None = None
    repair: Repair | None = None
    fix: Fix | None = None


@dataclass
class ProposedOption:
    """An option as the fault book and the rates suggest it."""

    title: str
    description: str
    fix_type: str
    warranty_days: int
    lines: list[ProposedLine]
    fixes: list[FixOfRepair] = field(default_factory=list)
    work_kind: str = REPAIR
    track_record: str = ""
    turnaround_days: int = USUAL_DAYS
    price: Price | None = None


def propose_options(job: Job, *, on: date, shop: Shop) -> list[ProposedOption]:
    """Return a lasting option and a stopgap, if the fault book has both."""
    record = load_track_record(on=on, shop=shop)
    repairs = [
        (repair, _best_fixes(repair))
        for repair in job.repairs.select_related("fault", "fix")
        if repair.outcome not in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
    ]
    if not repairs:
        return []
    options = []
    for kind, other in (
        (fix_types.LASTING, fix_types.STOPGAP),
        (fix_types.STOPGAP, fix_types.LASTING),
    ):
        if any(kind in best for _, best in repairs):
            fixes = [(r, best.get(kind) or best.get(other)) for r, best in repairs]
            options.append(_repair_option(job, fixes, kind, shop=shop, record=record))
    if not options:
        no_fix = [(repair, None) for repair, _ in repairs]
        options = [_repair_option(job, no_fix, "", shop=shop, record=record)]
    return options


def _best_fixes(repair: Repair) -> dict[str, Fix]:
    """Return the fix of each type: selected at the bench, else used most often."""
    done = Count(
        "repairs",
        filter=Q(repairs__fault=repair.fault, repairs__outcome=states.FIXED),
        distinct=True,
    )
    fixes = (
        Fix.objects.filter(
            Q(faults=repair.fault, is_retired=False) | Q(pk=repair.fix_id)
        )
        .distinct()
        .annotate(done=done)
        .prefetch_related(Prefetch("usual_parts__part"))
        .order_by("-done", "minutes", "code")
    )
    best: dict[str, Fix] = {}
    for fix in sorted(fixes, key=lambda fix: fix.pk != repair.fix_id):
        is_selected = fix.pk == repair.fix_id
        kind = (is_selected and repair.fix_type) or fix.fix_type
        best.setdefault(kind, fix)
    return best


def _repair_option(
    job: Job,
    fixes: list[FixOfRepair],
    kind: str,
    *,
    shop: Shop,
    record: TrackRecord,
) -> ProposedOption:
    """Return the option that repairs each fault with its fix."""
    lines = _repair_lines(job, fixes, shop=shop, record=record)
    days = min(
        fix.warranty_days
        if fix and fix.warranty_days is not None
        else shop.warranty_days(kind)
        for _, fix in fixes
    )
    price = price_repairs(
        job,
        fixes,
        warranty_days=days,
        list_price=list_total([line.line for line in lines], places=shop.places),
        on=record.as_of,
        shop=shop,
    )
    if price is not None and price.is_raised:
        labour = lines[0].line
        lines[0].line = replace(labour, price=labour.price + price.raised_by)
    return ProposedOption(
        title=_title(fixes, kind),
        description=_meaning(kind),
        fix_type=kind,
        warranty_days=days,
        lines=lines,
        fixes=fixes,
        track_record=describe_record(
            fixes, record=record, within=shop.comeback_period_days
        ),
        turnaround_days=_turnaround(fixes),
        price=price,
    )


def _repair_lines(
    job: Job, fixes: list[FixOfRepair], *, shop: Shop, record: TrackRecord
) -> list[ProposedLine]:
    """Return labour for each fix, the parts it usually needs, and the fees."""
    rates = shop.rates()
    work = [
        PlannedLabour(
            text=gettext("{work}, labour").format(
                work=fix.name if fix else repair.fault.name
            ),
            minutes=record.minutes(repair.fault_id, fix) if fix else 0,
        )
        for repair, fix in fixes
    ]
    lines = [
        ProposedLine(line, repair=repair, fix=fix)
        for line, (repair, fix) in zip(
            labour_lines(work, rates=rates), fixes, strict=True
        )
    ]
    usual_parts = [usual for _, fix in fixes if fix for usual in fix.usual_parts.all()]
    costs = current_costs(usual.part for usual in usual_parts)
    for usual in usual_parts:
        need = PartNeed(
            text=" ".join(filter(None, [usual.part.name, usual.part.value])),
            quantity=usual.quantity,
            cost=costs.get(usual.part_id),
            fixed=usual.part.fixed_price,
        )
        lines.append(ProposedLine(part_line(need, rates=rates), part=usual.part))
    return lines + [ProposedLine(fee) for fee in _fees(job, shop)]


def _turnaround(fixes: list[FixOfRepair]) -> int:
    days = turnaround_days([fix for _, fix in fixes if fix])
    return max(days.values(), default=USUAL_DAYS)


def describe_record(
    fixes: list[FixOfRepair], *, record: TrackRecord, within: int
) -> str:
    """Return what the customer is told about earlier repairs of this kind."""
    texts = []
    for repair, fix in fixes:
        if fix is None:
            continue
        done, returned = record.outcomes(repair.fault_id, fix.pk, within=within)
        chance = float(record.chance(repair.fault_id, fix.pk, days=within))
        text = describe_track_record(
            done=done,
            returned=returned,
            # Never better than what was counted.
            chance=max(chance, returned / done) if done else 0.0,
            within=within,
            gettext=gettext,
        )
        texts.append((repair.fault.name, text))
    return describe_all(texts)[:300]


def price_repairs(
    job: Job,
    fixes: list[FixOfRepair],
    *,
    warranty_days: int,
    list_price: Decimal,
    on: date,
    shop: Shop,
) -> Price | None:
    """Return the price that covers expected comebacks; None if no fix is selected."""
    costs = repair_costs(fixes, warranty_days=warranty_days, on=on, shop=shop)
    if not costs:
        return None
    tax = Decimal(0)
    if shop.prices_include_tax:
        tax = shop.tax(on, job.customer.tax_kind).rate
    fees = (job.agreed_diagnosis_fee or Decimal(0)) + _shipping(job, shop)
    return price_option(
        costs,
        fees=fees / (1 + tax / 100),
        list_price=list_price,
        by=PricingRules(
            hour=shop.hourly_cost,
            parcel=_shipping(job, shop),
            margin=shop.target_margin,
            tax=tax,
            step=shop.rounding_step,
            places=shop.places,
        ),
    )


def repair_costs(
    fixes: list[FixOfRepair], *, warranty_days: int, on: date, shop: Shop
) -> list[RepairCost]:
    """Return minutes, parts and comeback risk within the warranty of each repair."""
    record = load_track_record(on=on, shop=shop)
    selected = [(repair, fix) for repair, fix in fixes if fix]
    usual_parts = list(
        UsualPart.objects.filter(fix__in=[fix for _, fix in selected]).select_related(
            "part"
        )
    )
    costs = current_costs({usual.part for usual in usual_parts})
    return [
        RepairCost(
            minutes=record.minutes(repair.fault_id, fix),
            parts=sum(
                (
                    (costs.get(usual.part_id) or Decimal(0)) * usual.quantity
                    for usual in usual_parts
                    if usual.fix_id == fix.pk
                ),
                Decimal(0),
            ),
            chance=record.chance(repair.fault_id, fix.pk, days=warranty_days),
        )
        for repair, fix in selected
    ]


def no_repair_option(job: Job, *, shop: Shop) -> ProposedOption:
    """Return the option to have the device back as it is, for fee and shipping only."""
    free = fee_line(gettext("Returned free of charge"), Decimal(0))
    fees = _diagnosis_fee(job) + _shipping_fee(job, shop) or [free]
    return ProposedOption(
        title=gettext("Return without repair"),
        description=gettext("We reassemble the device without repair."),
        fix_type="",
        warranty_days=0,
        lines=[ProposedLine(fee) for fee in fees],
        work_kind=RETURN,
        turnaround_days=1,
    )


def board_replacement_option(job: Job, *, shop: Shop) -> ProposedOption:
    """Return the option to replace the board; its price is left to be entered."""
    minutes = max(BOARD_MINUTES, shop.minimum_minutes)
    labour = labour_price(minutes, rates=shop.rates())
    lines = [
        ListLine(LABOUR, gettext("Board replacement, labour"), Decimal(1), labour),
        ListLine(PART, gettext("Replacement board"), Decimal(1), None),
        *_fees(job, shop),
    ]
    return ProposedOption(
        title=gettext("Board replacement"),
        description=gettext(
            "The board is replaced. Data stored on the old board may be lost: back it"
            " up first."
        ),
        fix_type=fix_types.LASTING,
        warranty_days=shop.warranty_days(fix_types.LASTING),
        lines=[ProposedLine(line) for line in lines],
        work_kind=REPLACE,
        turnaround_days=7,
    )


def _title(fixes: list[FixOfRepair], kind: str) -> str:
    if len(fixes) == 1:
        repair, fix = fixes[0]
        if fix:
            return fix.name
        return gettext("Repair: {fault}").format(fault=repair.fault.name)[:120]
    if kind == fix_types.LASTING:
        title = gettext("Lasting repair of {n} faults")
    elif kind == fix_types.STOPGAP:
        title = gettext("Stopgap repair of {n} faults")
    else:
        title = gettext("Repair of {n} faults")
    return title.format(n=len(fixes))


def _meaning(kind: str) -> str:
    """Return what a repair of this type means to the customer."""
    if kind == fix_types.LASTING:
        return gettext("Removes the cause of the fault.")
    if kind == fix_types.STOPGAP:
        return gettext(
            "Restores function for now. The cause remains, so the fault may return."
        )
    return ""


def _shipping(job: Job, shop: Shop) -> Decimal:
    return shop.return_shipping_price if job.came_by == Job.CameBy.POST else Decimal(0)


def _fees(job: Job, shop: Shop) -> list[ListLine]:
    """Return the diagnosis fee, unless a repair includes it, and return shipping."""
    if job.agreed_diagnosis_fee and shop.deducts_diagnosis_fee:
        # An invoice may not hold a price below 0, so a line of 0 says so.
        fee = money(job.agreed_diagnosis_fee, shop)
        off = gettext("Diagnosis fee {fee}, deducted").format(fee=fee)
        return [fee_line(off, Decimal(0)), *_shipping_fee(job, shop)]
    return _diagnosis_fee(job) + _shipping_fee(job, shop)


def _diagnosis_fee(job: Job) -> list[ListLine]:
    if not job.agreed_diagnosis_fee:
        return []
    return [fee_line(gettext("Diagnosis fee, as agreed"), job.agreed_diagnosis_fee)]


def _shipping_fee(job: Job, shop: Shop) -> list[ListLine]:
    price = _shipping(job, shop)
    return [fee_line(gettext("Return shipping"), price)] if price else []
