"""What has changed since the month before: short sentences, or none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.comebacks.comeback_table import Row
from repairs.comebacks.estimate import verdict
from repairs.comebacks.record import ComebackReport
from repairs.month.groups import GroupRow
from repairs.month.months import MonthRow
from repairs.month.reserves import MonthCosts
from shopdesk.look.formats import format_share

MIN_COST_CHANGE = Decimal("0.25")  # of the cost before; a smaller change is none

HIGHER_COST, LOWER_COST = "higher cost", "lower cost"


@dataclass(frozen=True)
class NewsItem:
    """A sentence about something, its label, and the page that shows the figures."""

    about: str
    sentence: str
    label: str
    page: str
    """The name of a URL; `args` and `params` complete it."""
    args: tuple[int, ...] = ()
    params: tuple[tuple[str, str], ...] = ()
    anchor: str = ""


def news_of_pairs(now: ComebackReport, *, before: ComebackReport) -> list[NewsItem]:
    """Return the pairs whose verdict, or its mismatch with the type, has changed.

    What needs attention first, then what is better than before.
    """
    old = {row.pair: row for row in before.rows}
    both = [(row, old.get(row.pair)) for row in now.rows]
    return [
        *(
            _too_many(row, was)
            for row, was in both
            if row.has_too_many_comebacks and not _had_too_many(was)
        ),
        *(_now_lasting(row) for row, was in both if _is_now_lasting(row, was)),
        *(
            _no_longer(row)
            for row, was in both
            if _had_too_many(was) and not row.has_too_many_comebacks
        ),
        *(_better(r) for r, was in both if _is_better(r) and not _is_better(was)),
        *(
            _no_longer_better(row)
            for row, was in both
            if _is_better(was)
            and row.verdict != verdict.RELIABLE
            and not row.has_too_many_comebacks
        ),
    ]


def _had_too_many(row: Row | None) -> bool:
    return row is not None and row.has_too_many_comebacks


def _is_now_lasting(row: Row, was: Row | None) -> bool:
    had = was is not None and was.has_too_many_comebacks and not was.mismatch
    return had and row.has_too_many_comebacks and bool(row.mismatch)


def _is_better(row: Row | None) -> bool:
    return row is not None and row.mismatch == verdict.BETTER_THAN_RECORDED


def _of_pair(row: Row, change: str, more: str = "", *, label: str) -> NewsItem:
    sentence = f"{change}: {row.counts_and_risk}.{more}"
    return NewsItem(row.label, sentence, label, page="knowledge:pair", args=row.pair)


def _too_many(row: Row, was: Row | None) -> NewsItem:
    before = f"before: “{was.verdict}”" if was else "new"
    more = ""
    if row.mismatch:
        more = " It is recorded as lasting and performs like a stopgap."
    label = row.mismatch or row.verdict
    return _of_pair(row, f"now has too many comebacks ({before})", more, label=label)


def _now_lasting(row: Row) -> NewsItem:
    change = "still has too many comebacks and is now mostly recorded as lasting"
    return _of_pair(row, change, label=row.mismatch)


def _no_longer(row: Row) -> NewsItem:
    change = "no longer clearly has too many comebacks"
    return _of_pair(row, change, label=row.verdict)


def _better(row: Row) -> NewsItem:
    change = "is recorded as a stopgap but is reliable"
    return _of_pair(row, change, " You can change its type.", label=row.mismatch)


def _no_longer_better(row: Row) -> NewsItem:
    change = "no longer clearly lasts better than recorded"
    return _of_pair(row, change, label=row.verdict)


def news_of_groups(
    now: Sequence[GroupRow], *, before: Sequence[GroupRow]
) -> list[NewsItem]:
    """Return groups that became bad, or no longer clearly are."""
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
            page=f"month:{group.page}",
            args=(group.key,),
            params=tuple(group.params.items()),
        )
        for group in now
        if group.is_bad != (group.label in old)
    ]


def news_of_months(
    now: Sequence[MonthRow], *, before: Sequence[MonthRow]
) -> list[NewsItem]:
    """Return the months that were not known to be above their range until now."""
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
            page="month:handed_over",
            args=(row.month.year, row.month.month),
        )
        for row in now
        if row.is_above and row.month not in old
    ]


def news_of_costs(
    now: MonthCosts,
    *,
    before: MonthCosts,
    is_whole_month: bool,
    format_amount: Callable[[Decimal], str],
) -> list[NewsItem]:
    """Return the cost of comebacks if it changed by more than one comeback would.

    A month that is not over yet is compared only where it has already cost more.
    """
    least = max(MIN_COST_CHANGE * before.cost, before.mean_cost)
    change = now.cost - before.cost
    is_lower = change < 0
    if not before.comebacks or abs(change) <= least:
        return []
    if is_lower and not is_whole_month:
        return []
    so_far = "" if is_whole_month else " so far"
    sentence = (
        f"is {format_amount(now.cost)} this month{so_far},"
        f" {format_amount(abs(change))} {'less' if is_lower else 'more'} than in the"
        f" previous month ({now.comebacks} handed over, {before.comebacks} before)."
    )
    label = LOWER_COST if is_lower else HIGHER_COST
    about = "The cost of comebacks"
    return [NewsItem(about, sentence, label, page="month:month", anchor="#costs")]
