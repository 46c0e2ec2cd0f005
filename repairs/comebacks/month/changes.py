"""What is new since the month before: short sentences, or none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.comebacks import verdict
from repairs.comebacks.month import months
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
    """Those whose verdict, or what it says of the bench's own word, is another now.

    What needs a hand first, then what is better than it was.
    """
    old = {row.pair[:2]: row for row in before.rows}
    told = [(row, old.get(row.pair[:2])) for row in now.rows]
    return [
        *(_comes_back(row, was) for row, was in told if row.is_hot and not _hot(was)),
        *(_acts(row) for row, was in told if row.is_hot and _newly_flagged(row, was)),
        *(_no_longer(row) for row, was in told if not row.is_hot and _hot(was)),
        *(_better(row) for row, was in told if _is_better(row) and not _is_better(was)),
        *(
            _not_better(row)
            for row, was in told
            if _is_better(was) and row.verdict != verdict.HOLDS and not row.is_hot
        ),
    ]


def _hot(row: Row | None) -> bool:
    return row is not None and row.is_hot


def _newly_flagged(row: Row, was: Row | None) -> bool:
    return was is not None and was.is_hot and bool(row.flag) and not was.flag


def _is_better(row: Row | None) -> bool:
    return row is not None and row.flag == verdict.BETTER_THAN_DECLARED


def _counted(row: Row) -> str:
    return (
        f"{row.returned_said} came back so far, risk {row.risk_said}"
        f" ({row.limits_said})"
    )


def _of(row: Row, sentence: str, *, word: str) -> Change:
    return Change(row.called, sentence, word, page="pair", which=row.pair[:2])


def _comes_back(row: Row, was: Row | None) -> Change:
    before = f"was “{was.verdict}”" if was else "is new"
    acts = " It was declared lasting and acts as a stopgap." if row.flag else ""
    sentence = f"now comes back ({before}): {_counted(row)}.{acts}"
    return _of(row, sentence, word=row.flag or row.verdict)


def _acts(row: Row) -> Change:
    sentence = f"still comes back, and is mostly declared lasting now: {_counted(row)}."
    return _of(row, sentence, word=row.flag)


def _no_longer(row: Row) -> Change:
    sentence = f"is no longer sure to come back: {_counted(row)}."
    return _of(row, sentence, word=row.verdict)


def _better(row: Row) -> Change:
    sentence = (
        f"is declared a stopgap and yet holds: {_counted(row)}. You may call it lasting"
        " on its page."
    )
    return _of(row, sentence, word=row.flag)


def _not_better(row: Row) -> Change:
    sentence = f"no longer surely holds better than declared: {_counted(row)}."
    return _of(row, sentence, word=row.verdict)


def of_groups(now: Sequence[Named], *, before: Sequence[Named]) -> list[Change]:
    """Deliveries, models and board revisions that return too often since then, and
    those that did and are no longer seen to.
    """
    old = {(one.kind, one.key) for one in before if one.is_bad}
    return [
        Change(
            about=f"{one.kind.capitalize()} {one.name}",
            sentence=(
                f"{'now returns' if one.is_bad else 'is no longer seen to return'} too"
                f" often: {one.returned_said} repairs came back, where their faults and"
                f" fixes alone explain {one.expected_said}."
            ),
            word=one.word,
            page=one.page,
            which=one.which,
            asked=one.asked,
        )
        for one in now
        if one.is_bad != ((one.kind, one.key) in old)
    ]


def of_months(now: Sequence[MonthRow], *, before: Sequence[MonthRow]) -> list[Change]:
    """Months that were not seen to be above their limits until now."""
    old = {row.month for row in before if row.is_above}
    return [
        Change(
            about=row.said,
            sentence=(
                f"is above its limits: {row.returned} of {row.repairs} repairs came"
                f" back ({row.share_said}); up to {share(row.high or 0.0)} may be luck."
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
