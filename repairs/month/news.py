"""What has changed since the month before, in short sentences."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate.verdict import BETTER_THAN_RECORDED as BETTER
from repairs.comebacks.estimate.verdict import RELIABLE
from repairs.comebacks.record import ComebackReport
from repairs.comebacks.scope import Scope
from repairs.month.groups import GroupRow, page_url
from repairs.month.months import MonthRow
from repairs.month.reserves import MonthCosts
from shopdesk.look.formats import format_share

MIN_COST_CHANGE = Decimal("0.25")  # of the previous cost; smaller changes are left out

HIGHER_COST, LOWER_COST = "higher cost", "lower cost"


@dataclass(frozen=True)
class NewsItem:
    """A sentence about something, its label, and the page that shows the figures."""

    about: str
    sentence: str
    label: str
    url: str


def news_of_pairs(now: ComebackReport, *, before: ComebackReport) -> list[NewsItem]:
    """Return the pairs whose verdict or mismatch with the type has changed.

    What needs attention comes first, then improvements.
    """
    old = {row.pair: row for row in before.rows}
    changes = [
        (rank, row, change, more)
        for row in now.rows
        for rank, change, more in _pair_changes(row, old.get(row.pair))
    ]
    return [
        NewsItem(
            about=row.label,
            sentence=f"{change}: {row.counts_and_risk}.{more}",
            label=row.mismatch or row.verdict,
            url=page_url("knowledge:pair", *row.pair, scope=now.scope),
        )
        for _, row, change, more in sorted(changes, key=lambda each: each[0])
    ]


def _pair_changes(row: Row, was: Row | None) -> Iterator[tuple[int, str, str]]:
    """Yield the rank of each change, the change, and what follows from it."""
    is_bad, is_better = row.has_too_many_comebacks, row.mismatch == BETTER
    was_bad = was is not None and was.has_too_many_comebacks
    was_better = was is not None and was.mismatch == BETTER
    if is_bad and not was_bad:
        before = f"before: “{was.verdict}”" if was else "new"
        more = " It is recorded as lasting and performs like a stopgap."
        change = f"now has too many comebacks ({before})"
        yield 0, change, more if row.mismatch else ""
    elif is_bad and row.mismatch and was and not was.mismatch:
        change = "still has too many comebacks and is now mostly recorded as lasting"
        yield 1, change, ""
    elif was_bad and not is_bad:
        yield 2, "no longer clearly has too many comebacks", ""
    if is_better and not was_better:
        change = "is recorded as a stopgap but is reliable"
        yield 3, change, " You can change its type."
    elif was_better and not is_bad and row.verdict != RELIABLE:
        yield 4, "no longer clearly lasts better than recorded", ""


def news_of_groups(
    now: Sequence[GroupRow], *, before: Sequence[GroupRow], scope: Scope
) -> list[NewsItem]:
    """Return groups that became suspect, or no longer clearly are."""
    old = {group.label for group in before if group.is_bad}
    return [
        NewsItem(
            about=f"{group.kind.capitalize()} {group.name}",
            sentence=(
                f"{'now has' if group.is_bad else 'no longer clearly has'} too many"
                f" comebacks: {group.comebacks} of {group.repairs} repairs came back;"
                f" expected from these repairs: {group.expected:.1f}."
            ),
            label=group.verdict,
            url=group.url(scope),
        )
        for group in now
        if group.is_bad != (group.label in old)
    ]


def news_of_months(
    now: Sequence[MonthRow], *, before: Sequence[MonthRow], scope: Scope
) -> list[NewsItem]:
    """Return the months found to be above the normal range since the last report."""
    old = {row.month for row in before if row.is_above}
    return [
        NewsItem(
            about=row.name,
            sentence=(
                f"is above the normal range: {row.comebacks} of {row.repairs} repairs"
                f" came back ({format_share(row.rate)}); up to"
                f" {format_share(row.high or 0.0)} is normal variation."
            ),
            label=row.status,
            url=page_url(
                "month:handed_over", row.month.year, row.month.month, scope=scope
            ),
        )
        for row in now
        if row.is_above and row.month not in old
    ]


def news_of_costs(
    now: MonthCosts,
    *,
    before: MonthCosts,
    scope: Scope,
    format_amount: Callable[[Decimal], str],
) -> list[NewsItem]:
    """Return the cost of comebacks if it changed by more than one comeback.

    A month that is not over yet is compared only if it has already cost more.
    """
    if not before.comebacks:
        return []
    is_whole_month = (scope.as_of + timedelta(days=1)).day == 1
    min_change = max(MIN_COST_CHANGE * before.cost, before.cost / before.comebacks)
    change = now.cost - before.cost
    is_lower = change < 0
    if abs(change) <= min_change or (is_lower and not is_whole_month):
        return []
    so_far = "" if is_whole_month else " so far"
    sentence = (
        f"is {format_amount(now.cost)} this month{so_far},"
        f" {format_amount(abs(change))} {'less' if is_lower else 'more'} than in the"
        f" previous month ({now.comebacks} handed over, {before.comebacks} before)."
    )
    label = LOWER_COST if is_lower else HIGHER_COST
    url = f"{page_url('month:month', scope=scope)}#costs"
    return [NewsItem("The cost of comebacks", sentence, label, url)]
