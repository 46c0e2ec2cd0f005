"""What was recorded when the same fix for the same fault was closed before."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from statistics import median_high

from django.db.models import Count, Q

from repairs.comebacks.standing import Verdicts
from repairs.jobs import states
from repairs.jobs.models import Comeback, Repair

MIN_COMEBACKS = 3
"""Fewer say too little of how long a stopgap lasts."""

Pair = tuple[int, int | None]


@dataclass(frozen=True)
class ClosingDefaults:
    """The usual cause and what brings the fault back, each blank if unknown; of a fix
    that came back at least MIN_COMEBACKS times, the median days until then."""

    cause: str = ""
    recurs_if: str = ""
    days: int | None = None
    comebacks: int = 0


def closing_defaults(
    repairs: Iterable[Repair], *, verdicts: Verdicts, on: date
) -> dict[int, ClosingDefaults]:
    """Return the defaults of each repair by its id, in at most two queries.

    The cause is the one recorded most often, else that of the fault book. `verdicts`
    say of which pairs enough came back.
    """
    repairs = [repair for repair in repairs if repair.fix_id]
    texts = _texts(repairs)
    enough = {p for p, row in verdicts.rows.items() if row.comebacks >= MIN_COMEBACKS}
    lives = _lives([one for one in repairs if _pair(one) in enough], on=on)
    return {
        repair.pk: ClosingDefaults(
            cause=_most_common(texts[_pair(repair)], 0) or repair.fault.cause,
            recurs_if=_most_common(texts[_pair(repair)], 1),
            **lives.get(_pair(repair), {}),
        )
        for repair in repairs
    }


def _pair(repair: Repair) -> Pair:
    return repair.fault_id, repair.fix_id


def _texts(repairs: list[Repair]) -> dict[Pair, list[tuple[str, str, int]]]:
    """Return per pair what was recorded: cause, what brings it back, how often."""
    found: dict[Pair, list[tuple[str, str, int]]] = defaultdict(list)
    if not repairs:
        return found
    rows = (
        Repair.objects.filter(_any_of(repairs), outcome=states.FIXED)
        .exclude(cause="", recurs_if="")
        .order_by()
        .values_list("fault", "fix", "cause", "recurs_if")
        .annotate(n=Count("pk"))
    )
    for fault, fix, *text in rows:
        found[fault, fix].append(tuple(text))
    return found


def _most_common(rows: list[tuple[str, str, int]], column: int) -> str:
    counts: Counter[str] = Counter()
    for row in rows:
        counts[str(row[column])] += row[2]
    counts.pop("", None)
    return max(counts, key=lambda text: (counts[text], text), default="")


def _lives(repairs: list[Repair], *, on: date) -> dict[Pair, dict[str, int]]:
    days = defaultdict(list)
    known = Comeback.objects.recorded_on(on).filter(_any_of(repairs))
    rows = known.values_list("fault", "fix", "handed_over_on", "came_back_on")
    for fault, fix, handed_over, came_back in rows if repairs else ():
        days[fault, fix].append(max(1, (came_back - handed_over).days))
    return {
        pair: {"days": median_high(found), "comebacks": len(found)}
        for pair, found in days.items()
        if len(found) >= MIN_COMEBACKS
    }


def _any_of(repairs: list[Repair]) -> Q:
    """Return a condition: the fault and the fix of one of these repairs."""
    condition = Q()
    for repair in repairs:
        condition |= Q(fault=repair.fault_id, fix=repair.fix_id)
    return condition
