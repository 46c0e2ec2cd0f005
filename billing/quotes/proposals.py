"""The options that the fault book and the shop's rates propose for a job.

Their texts are in the document language if the caller activates it.
"""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db.models import Count, Max, Prefetch, Q, QuerySet
from django.utils.translation import gettext

from billing.pricing.comeback_price import Price
from billing.pricing.option_price import FixOfRepair, price_repairs, return_shipping
from billing.pricing.track_record_words import describe_all, describe_track_record
from billing.quotes.models import MAX_LINES, MAX_OPTIONS, Quote, QuoteLine, QuoteOption
from repairs.comebacks.standing import Verdicts, standing, verdicts_of
from repairs.faults import fix_types
from repairs.faults.models import Fix
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.knowledge.track_record import (
    TrackRecord,
    load_track_record,
    turnaround_days,
)
from repairs.stock.queries import current_costs
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import money
from shopdesk.money import rounded
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
    part_line,
)
from shopdesk.shop.tax import TaxRules

WorkKind = QuoteOption.WorkKind

USUAL_DAYS = 3  # turnaround of an option without a track record
BOARD_MINUTES = 60  # to replace a board, unless the shop's minimum is more


def add_proposed_options(quote: Quote, *, on: date, shop: Shop) -> None:
    """Add a lasting option and a stopgap, if the fault book has both."""
    record, verdicts = load_track_record(on=on, shop=shop), verdicts_of(on, shop=shop)
    covered = quote.job.covered_repairs
    repairs = [
        (repair, _best_fixes(repair, verdicts=verdicts))
        for repair in quote.job.repairs.select_related("fault", "fix")
        if repair.outcome not in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
        and repair.pk not in covered
    ]
    types = [
        (kind, other)
        for kind, other in (
            (fix_types.LASTING, fix_types.STOPGAP),
            (fix_types.STOPGAP, fix_types.LASTING),
        )
        if any(kind in best for _, best in repairs)
    ]
    if repairs and not types:
        types = [("", "")]
    for kind, other in types:
        fixes = [(repair, best.get(kind, best.get(other))) for repair, best in repairs]
        _add_repair_option(quote, fixes, kind, shop=shop, record=record)


def add_fix_option(
    quote: Quote, *, repair_pk: int, fix_pk: int, on: date, shop: Shop
) -> None:
    """Add the option that repairs one fault with this fix, the others with their best.

    Raises: RefusedError if the fault book does not have the fix for that fault.
    """
    record, verdicts = load_track_record(on=on, shop=shop), verdicts_of(on, shop=shop)
    covered = quote.job.covered_repairs
    repairs = [
        repair
        for repair in quote.job.repairs.select_related("fault", "fix")
        if repair.pk not in covered
    ]
    chosen = next((repair for repair in repairs if repair.pk == repair_pk), None)
    fix = chosen and fixes_of(chosen).filter(pk=fix_pk).first()
    if not fix:
        raise RefusedError(
            gettext("The fault book does not have this fix for the fault.")
        )
    kind = standing(verdicts, chosen.fault_id, fix).for_customer
    fixes: list[FixOfRepair] = []
    for repair in repairs:
        is_left = repair.outcome in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
        if repair == chosen:
            fixes.append((repair, fix))
        elif not is_left:
            best = _best_fixes(repair, verdicts=verdicts)
            fixes.append((repair, best.get(kind) or next(iter(best.values()), None)))
    _add_repair_option(quote, fixes, kind, shop=shop, record=record)


def fixes_of(repair: Repair) -> QuerySet[Fix]:
    """Return the fixes that the fault book has for it, and the one selected."""
    return (
        Fix.objects.filter(
            Q(faults=repair.fault, is_retired=False) | Q(pk=repair.fix_id)
        )
        .distinct()
        .prefetch_related(Prefetch("usual_parts__part"))
    )


def _best_fixes(repair: Repair, *, verdicts: Verdicts) -> dict[str, Fix]:
    """Return the fix of each type: selected at the bench, else used most often.

    A fix with too many comebacks is a stopgap, whatever its recorded type.
    """
    done = Count(
        "repairs",
        filter=Q(repairs__fault=repair.fault, repairs__outcome=states.FIXED),
        distinct=True,
    )
    fixes = fixes_of(repair).annotate(done=done).order_by("-done", "minutes", "code")
    best: dict[str, Fix] = {}
    for fix in sorted(fixes, key=lambda fix: fix.pk != repair.fix_id):
        is_selected = fix.pk == repair.fix_id
        recorded = repair.fix_type if is_selected else ""
        found = standing(verdicts, repair.fault_id, fix, recorded=recorded)
        best.setdefault(found.for_customer, fix)
    return best


def _add_repair_option(
    quote: Quote,
    fixes: list[FixOfRepair],
    kind: str,
    *,
    shop: Shop,
    record: TrackRecord,
) -> None:
    """Add the option that repairs each fault with its fix."""
    lines = _repair_lines(quote, fixes, shop=shop, record=record)
    days = min(
        fix.warranty_days
        if fix and fix.warranty_days is not None
        else shop.warranty_days(kind)
        for _, fix in fixes
    )
    price = price_repairs(
        quote.job,
        fixes,
        warranty_days=days,
        list_price=sum((line.amount for line in lines), Decimal(0)),
        amounts=not_labour(lines),
        on=record.as_of,
        shop=shop,
    )
    if price is not None and price.is_raised:
        labour = lines[0]
        labour.price = labour.suggested = labour.price + price.raised_by
    repair, fix = fixes[0] if len(fixes) == 1 else (None, None)
    _add_option(
        quote,
        lines,
        title=_title(fixes, kind),
        description=_meaning(kind),
        repair=repair,
        fix=fix,
        fix_type=kind,
        warranty_days=days,
        turnaround_days=_turnaround(fixes),
        track_record=_describe_record(
            fixes, record=record, within=shop.comeback_period_days
        ),
        **price_fields(price, shop=shop),
    )


def not_labour(lines: Iterable[QuoteLine]) -> list[tuple[str, Decimal]]:
    """Return the suggested amounts of parts and fees."""
    return [
        (line.kind, line.suggested * line.quantity)
        for line in lines
        if line.kind != LABOUR and line.suggested is not None
    ]


def _add_option(quote: Quote, lines: list[QuoteLine], **fields) -> None:
    """Add an option with its lines after the others."""
    option = quote.options.create(position=next_position(quote), **fields)
    for position, line in enumerate(lines[:MAX_LINES], 1):
        line.option, line.position = option, position
        line.calculate(places=quote.places)
        line.save()


def next_position(quote: Quote) -> int:
    """Return the position of another option; raise if there is no room."""
    if quote.options.count() >= MAX_OPTIONS:
        raise RefusedError(
            gettext("A quote has at most {max_options} options.").format(
                max_options=MAX_OPTIONS
            )
        )
    return (quote.options.aggregate(n=Max("position"))["n"] or 0) + 1


def price_fields(price: Price | None, *, shop: Shop) -> dict[str, object]:
    """Return what an option stores of how its price was calculated."""
    if price is None:
        return {}
    return {
        "planned_minutes": price.minutes,
        "own_cost": rounded(price.own_cost, places=shop.places),
        "rework_cost": rounded(price.rework_cost, places=shop.places),
        "chance": price.chance,
        "comeback_allowance": rounded(price.comeback_allowance, places=shop.places),
        "list_price": price.list_price,
        "min_price": price.min_price,
    }


def _line(quote: Quote, line: ListLine, *, rules: TaxRules, **records):
    """Return the line of a price list as one of the quote, not yet saved."""
    new = QuoteLine(
        kind=line.kind,
        text=line.text[:200],
        quantity=line.quantity,
        price=line.price or Decimal(0),
        suggested=line.price,
        **records,
    )
    new.set_tax(rules.of(line.kind, quote.job.customer.as_buyer))
    new.calculate(places=quote.places)
    return new


def _repair_lines(
    quote: Quote, fixes: list[FixOfRepair], *, shop: Shop, record: TrackRecord
) -> list[QuoteLine]:
    """Return labour for each fix, the parts it usually needs, and the fees."""
    rates = shop.rates()
    labour = labour_lines(
        [
            PlannedLabour(
                text=gettext("{work}, labour").format(
                    work=fix.name if fix else repair.fault.name
                ),
                minutes=record.minutes(repair.fault_id, fix) if fix else 0,
            )
            for repair, fix in fixes
        ],
        rates=rates,
    )
    lines = [
        (line, {"repair": repair, "fix": fix})
        for line, (repair, fix) in zip(labour, fixes, strict=True)
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
        lines.append((part_line(need, rates=rates), {"part": usual.part}))
    lines += [(line, {}) for line in _fees(quote.job, shop)]
    rules = shop.tax_rules(record.as_of)
    return [_line(quote, line, rules=rules, **records) for line, records in lines]


def _turnaround(fixes: list[FixOfRepair]) -> int:
    days = turnaround_days([fix for _, fix in fixes if fix])
    return max(days.values(), default=USUAL_DAYS)


def _describe_record(
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
            # Never better than the count.
            chance=max(chance, returned / done) if done else 0.0,
            within=within,
            gettext=gettext,
        )
        texts.append((repair.fault.name, text))
    return describe_all(texts)[:300]


def add_no_repair_option(quote: Quote, *, on: date, shop: Shop) -> None:
    """Add the option to return the device as it is, for fee and shipping only."""
    job = quote.job
    free = fee_line(gettext("Returned free of charge"), Decimal(0))
    fees = _diagnosis_fee(job) + _shipping_fee(job, shop) or [free]
    rules = shop.tax_rules(on)
    _add_option(
        quote,
        [_line(quote, fee, rules=rules) for fee in fees],
        title=gettext("Return without repair"),
        description=gettext("We will reassemble the device without repair."),
        work_kind=WorkKind.RETURN,
        turnaround_days=1,
    )


def add_board_option(quote: Quote, *, on: date, shop: Shop) -> None:
    """Add the option to replace the board; its price is left to be entered."""
    minutes = max(BOARD_MINUTES, shop.minimum_minutes)
    labour = labour_price(minutes, rates=shop.rates())
    lines = [
        ListLine(LABOUR, gettext("Board replacement, labour"), Decimal(1), labour),
        ListLine(PART, gettext("Replacement board"), Decimal(1), None),
        *_fees(quote.job, shop),
    ]
    rules = shop.tax_rules(on)
    _add_option(
        quote,
        [_line(quote, line, rules=rules) for line in lines],
        title=gettext("Board replacement"),
        description=gettext(
            "The board is replaced. Data stored on the old board may be lost: back it"
            " up first."
        ),
        fix_type=fix_types.LASTING,
        warranty_days=shop.warranty_days(fix_types.LASTING),
        work_kind=WorkKind.REPLACE,
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


def _fees(job: Job, shop: Shop) -> list[ListLine]:
    """Return the diagnosis fee, unless a repair includes it, and return shipping."""
    if job.agreed_diagnosis_fee and shop.deducts_diagnosis_fee:
        # Invoice lines cannot be negative, so a line of 0 states the deduction.
        fee = money(job.agreed_diagnosis_fee, shop)
        off = gettext("Diagnosis fee {fee}, deducted").format(fee=fee)
        return [fee_line(off, Decimal(0)), *_shipping_fee(job, shop)]
    return _diagnosis_fee(job) + _shipping_fee(job, shop)


def _diagnosis_fee(job: Job) -> list[ListLine]:
    if not job.agreed_diagnosis_fee:
        return []
    return [fee_line(gettext("Diagnosis fee, as agreed"), job.agreed_diagnosis_fee)]


def _shipping_fee(job: Job, shop: Shop) -> list[ListLine]:
    price = return_shipping(job, shop=shop)
    return [fee_line(gettext("Return shipping"), price)] if price else []
