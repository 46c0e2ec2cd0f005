"""The month's recommendations in order of their value: what to do, and why.

A value is an expectation: jobs per month of the pair × difference of profit per job.
Prices are those of the fault book today, so it is not cached with the report.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.db.models import Count, Min

from repairs.comebacks.advice import ActionKind, Recommendation
from repairs.comebacks.record import ComebackReport
from repairs.faults.fix_types import LASTING, STOPGAP
from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models import PartUsed, Repair
from repairs.knowledge.fix_comparison import FixComparison, FixOption
from repairs.month.groups import DELIVERY, GroupRow
from repairs.month.report import MonthReport
from repairs.stock.models import Delivery
from shopdesk.money import rounded
from shopdesk.shop.models import Shop

MAX_FIRST = 5
YEAR = 365  # days whose jobs are counted
DAYS_PER_MONTH = Decimal(YEAR) / 12


@dataclass(frozen=True)
class Advice:
    """One thing to do. `value` per month is None if it cannot be said in money."""

    kind: str
    """`replace`, `stopgap`, `lasting` or `delivery`."""
    value: Decimal | None
    jobs: Decimal
    """Jobs per month that it concerns."""
    per_job: Decimal | None = None
    """The value for each of them."""
    source: Recommendation | None = None
    group: GroupRow | None = None
    delivery: Delivery | None = None
    new_type: str = ""
    """The type that the fault book should have, if it has another."""


def first_advice(
    report: ComebackReport, month: MonthReport, *, shop: Shop
) -> list[Advice]:
    """Return what the month opens with; nothing if it is filtered."""
    if report.scope.is_filtered:
        return []
    groups = [group for group, _ in month.suspects]
    return top_advice(report, month.recommendations, groups, shop=shop)[:MAX_FIRST]


def top_advice(
    report: ComebackReport,
    recommendations: list[Recommendation],
    suspects: list[GroupRow],
    *,
    shop: Shop,
) -> list[Advice]:
    """Return all that can be done, the highest value first, without a value last.

    A pair whose comebacks are those of a delivery in stock waits until it is blocked.
    """
    as_of = report.scope.as_of
    deliveries = [
        _delivery(group, one, report, shop=shop, as_of=as_of)
        for group, one in _in_stock(suspects)
    ]
    shown = {one.group.url(report.scope) for one in deliveries if one.group}
    jobs = jobs_per_month(as_of)
    rows = [r for r in recommendations if not (r.suspect and r.suspect.url in shown)]
    fixes = Fix.objects.in_bulk({one.row.fix_id for one in rows})
    faults = Fault.objects.in_bulk({one.row.fault_id for one in rows})
    profits: dict[int, Mapping[int, FixOption]] = {}
    for recommendation in rows:
        fault_id = recommendation.row.fault_id
        if (
            fault_id not in profits
            and recommendation.kind is ActionKind.OTHER_FIX
            and not recommendation.suspect
        ):
            comparison = FixComparison(report, fault=faults[fault_id])
            options = comparison.options(shop=shop)
            profits[fault_id] = {option.fix.pk: option for option in options}
    pairs = [
        _pair(
            one,
            jobs=jobs.get(one.row.pair, Decimal(0)),
            fix=fixes[one.row.fix_id],
            options=profits.get(one.row.fault_id, {}),
            places=shop.places,
        )
        for one in rows
        if not one.suspect
    ]
    return sorted(
        [*deliveries, *pairs],
        key=lambda one: (one.value is None, -(one.value or Decimal(0))),
    )


def jobs_per_month(as_of: date) -> dict[tuple[int, int], Decimal]:
    """Return the fixed repairs of each pair a month, over at most the last year."""
    fixed = Repair.objects.filter(
        outcome=states.FIXED, fix__isnull=False, handed_over_on__lte=as_of
    )
    months = _months(fixed.aggregate(day=Min("handed_over_on"))["day"], as_of)
    counts = (
        fixed.filter(handed_over_on__gt=as_of - timedelta(days=YEAR))
        .order_by()
        .values_list("fault_id", "fix_id")
        .annotate(n=Count("pk"))
    )
    return {(fault, fix): n / months for fault, fix, n in counts}


def _months(first: date | None, as_of: date) -> Decimal:
    """Return the months of the last year in which repairs were handed over, 1 to 12."""
    days = 0 if first is None else min(YEAR, (as_of - first).days + 1)
    return max(Decimal(1), Decimal(days) / DAYS_PER_MONTH)


def replacement_gain(
    option: FixOption | None, other: FixOption | None
) -> Decimal | None:
    """Return how much more profit a job has with the other fix; None if not known."""
    if not option or not other or option.profit is None or other.profit is None:
        return None
    return other.profit - option.profit


def _pair(
    source: Recommendation,
    *,
    jobs: Decimal,
    fix: Fix,
    options: Mapping[int, FixOption],
    places: int,
) -> Advice:
    row, other = source.row, source.other
    if source.kind is ActionKind.CHANGE_TYPE:
        kind, wanted, per_job = "lasting", LASTING, None
    elif source.kind is ActionKind.OTHER_FIX and other:
        kind, wanted = "replace", STOPGAP
        per_job = replacement_gain(options.get(row.fix_id), options.get(other.fix_id))
    else:
        # What each price must contain for the comebacks that are to be expected.
        kind, wanted, per_job = "stopgap", STOPGAP, row.comeback_allowance
    return Advice(
        kind=kind,
        value=None if per_job is None else rounded(per_job * jobs, places=places),
        jobs=jobs,
        per_job=per_job,
        source=source,
        new_type=wanted if fix.fix_type != wanted else "",
    )


def _in_stock(suspects: list[GroupRow]) -> list[tuple[GroupRow, Delivery]]:
    """Return the suspect deliveries that still have parts on the shelf."""
    groups = [group for group in suspects if group.kind == DELIVERY]
    found = (
        Delivery.objects.filter(remaining__gt=0, blocked_on=None)
        .select_related("part", "supplier")
        .in_bulk([group.key for group in groups])
    )
    return [(group, found[group.key]) for group in groups if group.key in found]


def _delivery(
    group: GroupRow,
    delivery: Delivery,
    report: ComebackReport,
    *,
    shop: Shop,
    as_of: date,
) -> Advice:
    """Return the value of blocking: the comebacks above expectation that it saves.

    The ratio is the one adjusted towards the average, and no more jobs are counted
    than the parts left would serve in a month.
    """
    used = PartUsed.objects.filter(
        delivery=delivery,
        repair__outcome=states.FIXED,
        repair__handed_over_on__lte=as_of,
    )
    first = used.aggregate(day=Min("repair__handed_over_on"))["day"]
    recent = used.filter(repair__handed_over_on__gt=as_of - timedelta(days=YEAR))
    a_month = recent.values("repair").distinct().count() / _months(first, as_of)
    jobs = min(a_month, Decimal(delivery.remaining))
    above = group.expected * max(group.ratio - 1.0, 0.0) / group.repairs
    costs = {row.number: row.mean_rework_cost for row in report.rows}
    back = group.comebacks_by_pair
    cost = sum((costs[n] * count for n, count in back.items()), Decimal(0)) / max(
        1, sum(back.values())
    )
    per_job = rounded(Decimal(repr(above)) * cost, places=shop.places)
    return Advice(
        kind="delivery",
        value=rounded(per_job * jobs, places=shop.places),
        jobs=jobs,
        per_job=per_job,
        group=group,
        delivery=delivery,
    )
