"""What is new since the month before: short sentences, or none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.comebacks.month import groups, months
from repairs.comebacks.month.money import Money
from repairs.comebacks.month.months import MonthRow
from repairs.comebacks.month.named import Named
from repairs.comebacks.record import Record
from repairs.comebacks.rows import Row, share

NEWS = Decimal("0.25")  # a change of cost by less of itself is none


@dataclass(frozen=True)
class Change:
    """A sentence about something: its mark, and the page that proves it."""

    about: str
    sentence: str
    word: str
    page: str
    """The name of the page in this room; `which` is what it asks for."""
    which: tuple[int, ...] = ()
    asked: tuple[tuple[str, str], ...] = ()


def of_pairs(now: Record, *, before: Record) -> list[Change]:
    """Those that came to be, or ceased to be, pairs that come back."""
    old = {row.pair[:2]: row for row in before.rows}
    return [
        *(
            _comes_back(row, old.get(row.pair[:2]))
            for row in now.rows
            if row.is_hot and not _was_hot(old.get(row.pair[:2]))
        ),
        *(
            _no_longer(row)
            for row in now.rows
            if not row.is_hot and _was_hot(old.get(row.pair[:2]))
        ),
    ]


def _was_hot(row: Row | None) -> bool:
    return row is not None and row.is_hot


def _counted(row: Row) -> str:
    return f"{row.returned_said} so far, risk {row.risk_said} ({row.limits_said})"


def _comes_back(row: Row, old: Row | None) -> Change:
    was = f", was “{old.verdict}”" if old else ", is new"
    acts = "; it was declared lasting and acts as a stopgap" if row.flag else ""
    return Change(
        about=row.called,
        sentence=f"now comes back{was}: {_counted(row)}{acts}.",
        word=row.flag or row.verdict,
        page="pair",
        which=row.pair[:2],
    )


def _no_longer(row: Row) -> Change:
    return Change(
        about=row.called,
        sentence=f"is no longer sure to come back: {_counted(row)}.",
        word=row.verdict,
        page="pair",
        which=row.pair[:2],
    )


def of_groups(now: Sequence[Named], *, before: Sequence[Named]) -> list[Change]:
    """Deliveries, models and board revisions that return too often since then."""
    old = {one.key for one in before if one.is_bad}
    return [
        Change(
            about=f"{one.kind.capitalize()} {one.name}",
            sentence=(
                f"now returns too often: {one.returned_said} came back where the"
                f" repairs explain {one.expected_said}."
            ),
            word=groups.TOO_OFTEN,
            page=one.page,
            which=one.which,
            asked=one.asked,
        )
        for one in now
        if one.is_bad and one.key not in old
    ]


def of_months(now: Sequence[MonthRow], *, before: Sequence[MonthRow]) -> list[Change]:
    """Months that were not seen to be above their limits until now."""
    old = {row.month for row in before if row.is_above}
    return [
        Change(
            about=row.said,
            sentence=(
                f"is above its limits: {row.returned} of {row.repairs} repairs came"
                f" back ({row.share_said}), up to {share(row.high or 0.0)} may be"
                " chance."
            ),
            word=months.ABOVE,
            page="handed_back",
            which=(row.month.year, row.month.month),
        )
        for row in now
        if row.is_above and row.month not in old
    ]


def of_money(
    now: Money, *, before: Money, is_whole: bool, said: Callable[[Decimal], str]
) -> list[Change]:
    """What comebacks cost, where it is up or down by more than a comeback would be.

    A month not over yet is only set against the last where it has already cost more.
    """
    least = max(NEWS * before.cost, before.mean_cost)
    up = now.cost - before.cost
    if not before.comebacks or abs(up) <= least or (up < 0 and not is_whole):
        return []
    so_far = "" if is_whole else " so far"
    way = "more" if up > 0 else "less"
    return [
        Change(
            about="The cost of comebacks",
            sentence=(
                f"is {said(now.cost)} this month{so_far}, {said(abs(up))} {way} than"
                f" in the whole month before ({now.comebacks} against"
                f" {before.comebacks} handed back)."
            ),
            word="dearer" if up > 0 else "cheaper",
            page="month",
        )
    ]
