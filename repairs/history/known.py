"""Where a row of the file and the same job on record say different things."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from repairs.history.columns import COLUMNS, NOT_SAID
from repairs.history.rows import PartTold, Row

# Names belong to the fault book, which may have been reworded since.
COMPARED = [c for c in COLUMNS if c not in ("job", "fault_name", "fix_name")]


@dataclass(frozen=True, slots=True)
class Difference:
    column: str
    in_file: str
    on_record: str


def differences(told: Row, known: Row) -> list[Difference]:
    """What `told` says otherwise than `known`; an empty cell may say nothing."""
    found = []
    for column in COMPARED:
        here, there = getattr(told, column), getattr(known, column)
        if column == "parts":
            same = _same_parts(here, there)
        elif column in NOT_SAID and not here:
            same = True
        else:
            same = here == there
        if not same:
            found.append(Difference(column, _text(here), _text(there)))
    return found


def job_differences(
    told: Sequence[Row], known: Sequence[Row]
) -> list[tuple[Row, list[Difference]]]:
    """The rows of a job that differ from it on record, in whatever order they stand."""
    left = list(known)
    found = []
    for row in told:
        if not left:
            found.append((row, [Difference("", "a repair more", "")]))
            continue
        apart = [differences(row, other) for other in left]
        nearest = min(range(len(left)), key=lambda n: len(apart[n]))
        left.pop(nearest)
        if apart[nearest]:
            found.append((row, apart[nearest]))
    if left:
        found.append((told[0], [Difference("", "a repair less", "")]))
    return found


def _same_parts(told: tuple[PartTold, ...], known: tuple[PartTold, ...]) -> bool:
    left = list(known)
    for part in told:
        for other in left:
            if (
                (part.number, part.quantity, part.lot)
                == (other.number, other.quantity, other.lot)
            ) and part.cost in (None, other.cost):
                left.remove(other)
                break
        else:
            return False
    return not left


def _text(value: object) -> str:
    if isinstance(value, tuple):
        return ";".join(map(str, value))
    if isinstance(value, Decimal) and value == round(value, 2):
        return f"{value:.2f}"
    return "" if value is None else str(value)
