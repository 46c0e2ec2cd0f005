"""The columns of a history file, and a row as values."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from decimal import Decimal
from typing import Any

from repairs.faults import fix_types
from repairs.history.cells import (
    Bounds,
    CellError,
    CheckAndResult,
    ImportedPart,
    is_control,
    one_of,
    read_code,
    read_cost,
    read_day,
    read_email,
    read_minutes,
    read_names,
    read_parts,
    read_phone,
    read_price,
    read_results,
    read_text,
    total_cost,
)
from repairs.history.issues import ImportIssues
from repairs.jobs import states

CENT = Decimal("0.01")
DECLARED = one_of(fix_types.LABELS)
OUTCOME = one_of(states.OUTCOMES)
RETURN_IS = one_of(
    {
        value: label
        for value, label in states.RETURN_ASSESSMENTS.items()
        if value != states.UNDECIDED
    }
)


@dataclass(frozen=True)
class ImportColumn:
    """How a column is read; `max_length` is that of the field where it is stored.

    With `is_optional` an empty cell is no difference from a record.
    """

    read: Callable[[str, Bounds], Any] = read_text
    max_length: int | None = None
    is_required: bool = False
    is_optional: bool = False
    may_have_lines: bool = False


def _column(
    read: Callable[[str, Bounds], Any] = read_text,
    max_length: int | None = None,
    *,
    default: Any = "",
    is_required: bool = False,
    **facts: bool,
) -> Any:
    column = ImportColumn(read, max_length, is_required, **facts)
    if is_required:
        return field(metadata={"column": column})
    return field(default=default, metadata={"column": column})


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportRow:
    """One repair of one job, or a job without a fault.

    Empty text and None are values missing in the file. `declared`, `outcome` and
    `return_is` hold the values stored in records; `phone` is E.164.
    """

    line: int
    # Values of the job: the same in each of its rows.
    job: str = _column(max_length=40, is_required=True)
    booked_in: date = _column(read_day, is_required=True)
    handed_back: date | None = _column(read_day, default=None)
    customer: str = _column(max_length=120, is_required=True)
    email: str = _column(read_email, 254, is_optional=True)
    phone: str = _column(read_phone, 40, is_optional=True)
    kind: str = _column(max_length=40, is_required=True)
    maker: str = _column(max_length=60, is_optional=True)
    model: str = _column(max_length=80, is_required=True)
    serial: str = _column(max_length=60, is_optional=True)
    complaint: str = _column(max_length=2000, is_optional=True, may_have_lines=True)
    returned_from: str = _column(max_length=40)
    return_is: str = _column(RETURN_IS)
    symptoms: tuple[str, ...] = _column(read_names, default=(), is_optional=True)
    checks: tuple[CheckAndResult, ...] = _column(
        read_results, default=(), is_optional=True
    )
    # Values of the repair in this row.
    fault: str = _column(read_code, 40)
    fault_name: str = _column(max_length=120, is_optional=True)
    fix: str = _column(read_code, 40)
    fix_name: str = _column(max_length=120, is_optional=True)
    declared: str = _column(DECLARED)
    outcome: str = _column(OUTCOME)
    minutes: int | None = _column(read_minutes, default=None, is_optional=True)
    charged: Decimal | None = _column(read_price, default=None)
    parts_cost: Decimal | None = _column(read_cost, default=None, is_optional=True)
    parts: tuple[ImportedPart, ...] = _column(read_parts, default=())
    # What no history file has, but a shop's own list.
    is_uncoded: bool = False
    is_declined: bool = False
    bench_notes: str = ""
    fault_text: str = ""
    fix_text: str = ""

    @property
    def needs_coding(self) -> bool:
        """Whether it is a past repair whose fault or fix is not known.

        What was charged for was not declined, unless the file says that it was.
        """
        if self.is_uncoded:
            return True
        is_open = self.fault or self.outcome or self.is_declined
        return bool(self.handed_back and self.charged and not is_open)

    @property
    def other_parts_cost(self) -> Decimal:
        """Return the cost of parts that are not listed individually."""
        if self.parts_cost is None:
            return Decimal(0)
        return self.parts_cost - total_cost(self.parts)


COLUMNS: dict[str, ImportColumn] = {
    one.name: one.metadata["column"] for one in fields(ImportRow) if one.metadata
}
REQUIRED = [name for name, column in COLUMNS.items() if column.is_required]
_FIRST_OF_REPAIR = list(COLUMNS).index("fault")
JOB_COLUMNS = list(COLUMNS)[1:_FIRST_OF_REPAIR]
REPAIR_COLUMNS = list(COLUMNS)[_FIRST_OF_REPAIR:]


def read_row(
    line: int, cells: Mapping[str, str], *, bounds: Bounds, issues: ImportIssues
) -> ImportRow | None:
    """Return the row of these `cells`, or None and add what is wrong to `issues`."""
    before = issues.count
    values: dict[str, Any] = {}
    for name, column in COLUMNS.items():
        try:
            text = _checked(cells.get(name, "").strip(), column)
            if text:
                values[name] = column.read(text, bounds)
        except CellError as error:
            for sentence in error.args:
                issues.add(line, name, sentence)
    if issues.count > before:
        return None
    row = ImportRow(line=line, **values)
    for name, sentence in check_row(row):
        issues.add(line, name, sentence)
    return row if issues.count == before else None


def _checked(text: str, column: ImportColumn) -> str:
    if not text and column.is_required:
        raise CellError("Required.")
    if column.max_length and len(text) > column.max_length:
        raise CellError(f"Longer than {column.max_length} characters.")
    if not text.isprintable():
        allowed = "\r\n\t" if column.may_have_lines else ""
        found = [c for c in text if c not in allowed and is_control(c)]
        if found:
            raise CellError(f"Contains a control character (U+{ord(found[0]):04X}).")
    return text


def check_row(row: ImportRow) -> Iterator[tuple[str, str]]:
    """Yield contradictions within a row, each with the column to check."""
    if row.handed_back and row.handed_back < row.booked_in:
        yield (
            "handed_back",
            f"Handed over on {row.handed_back}, before it was booked in on"
            f" {row.booked_in}.",
        )
    if row.is_uncoded:
        return
    if not row.fault:
        for column in ("fault_name", "fix", "fix_name", "declared", "parts"):
            if getattr(row, column):
                yield column, "Enter the fault that this belongs to."
        if row.parts_cost:
            yield "parts_cost", "Enter the fault that this belongs to."
        if row.outcome == states.FIXED:
            yield "fault", "Outcome is fixed: enter the fault."
    if row.fix_name and not row.fix and row.fault:
        yield "fix", "The fix has a name but no code."
    if row.outcome == states.FIXED and row.fault:
        if not row.fix:
            yield "fix", "Outcome is fixed: enter the fix."
        if not row.declared:
            yield "declared", "Outcome is fixed: enter lasting or stopgap."
    if row.handed_back and row.fix and not row.outcome:
        yield "outcome", "Handed over with a fix: enter the outcome."
    if row.parts_cost is not None and row.parts:
        is_complete = all(part.cost is not None for part in row.parts)
        rest = row.other_parts_cost
        # Unit costs may have fractions of a cent, so their sum may have been rounded.
        if rest <= -CENT or (is_complete and rest >= CENT):
            yield (
                "parts_cost",
                f"parts adds up to {total_cost(row.parts):f}, but parts_cost is"
                f" {row.parts_cost:f}.",
            )
    if row.return_is and not row.returned_from:
        yield "returned_from", "Enter returned_from or leave return_is empty."
    if row.returned_from == row.job:
        yield "returned_from", "A job cannot be a return of itself."
