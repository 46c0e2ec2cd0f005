"""The fixes of a likely fault side by side: record, minutes, price, profit, parts."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.record import ComebackReport, comeback_report
from repairs.comebacks.scope import Scope
from repairs.comebacks.standing import Standing, standing, verdicts_of
from repairs.faults.models import Fault, Fix, UsualPart
from repairs.knowledge.fix_comparison import FixComparison
from repairs.knowledge.track_record import load_track_record
from shopdesk.shop.models import Shop

MAX_SHOWN = 6


@dataclass(frozen=True)
class FixLine:
    """One fix; `row` is None without repairs, `profit` where the price is not known."""

    fix: Fix
    standing: Standing
    row: Row | None
    minutes: int
    price: Decimal
    is_whole: bool
    profit: Decimal | None
    parts: list[UsualPart]


def fix_lines(
    fault: Fault, *, on: date, shop: Shop
) -> tuple[ComebackReport, list[FixLine]]:
    """Return the report that was asked, and the fixes, the lowest risk first."""
    scope = Scope(as_of=on, within=shop.comeback_period_days)
    report = comeback_report(scope, shop=shop)
    record = load_track_record(on=on, shop=shop)
    options = FixComparison(report, fault=fault).options(shop=shop)
    options = [option for option in options if not option.fix.is_retired][:MAX_SHOWN]
    parts: dict[int, list[UsualPart]] = {}
    usual = UsualPart.objects.filter(fix__in=[option.fix for option in options])
    for one in usual.select_related("part").order_by("pk"):
        parts.setdefault(one.fix_id, []).append(one)
    lines = []
    for option in options:
        lines.append(
            FixLine(
                fix=option.fix,
                standing=option.standing,
                row=option.row,
                minutes=record.minutes(fault.pk, option.fix),
                price=option.cost.price,
                is_whole=option.cost.is_whole,
                profit=option.profit,
                parts=parts.get(option.fix.pk, []),
            )
        )
    return report, lines


@dataclass(frozen=True)
class UsualFix:
    """The fix done most often for a fault, what is known of it, the minutes to plan."""

    fix: Fix
    standing: Standing
    minutes: int


def usual_fix(fault: Fault, *, on: date, shop: Shop) -> UsualFix | None:
    """Return the fault's usual fix; None if it has none."""
    record = load_track_record(on=on, shop=shop)
    fixes = list(fault.fixes.filter(is_retired=False))
    if not fixes:
        return None

    def done(fix: Fix) -> int:
        number = record.numbers.get((fault.pk, fix.pk))
        return 0 if number is None else record.done[number]

    fix = max(fixes, key=done)
    return UsualFix(
        fix=fix,
        standing=standing(verdicts_of(on, shop=shop), fault.pk, fix),
        minutes=record.minutes(fault.pk, fix),
    )
