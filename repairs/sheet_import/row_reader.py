"""Read the rows of a shop's own list, each as a row of the history import.

A value that is not clear is kept as a note on the job, and a remark says so.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any

from repairs.customers.names import normalize_text
from repairs.history.cells import Bounds, CellError, read_email, read_phone
from repairs.history.rows import COLUMNS, ImportRow, check_row
from repairs.jobs import states
from repairs.sheet_import.decisions import (
    CLOSE,
    IGNORED,
    LEAVE_OUT,
    NOT_CODED,
    Decisions,
)
from repairs.sheet_import.questions import (
    AMOUNTS,
    DATES,
    MAX_TEXT,
    clean,
    corrected,
    notation_of,
)
from repairs.sheet_import.remarks import Conversion
from repairs.sheet_import.sheet_columns import FIELDS, SheetColumns
from repairs.sheet_import.sheet_file import Cell
from repairs.sheet_import.text_groups import TextGroup
from repairs.sheet_import.written_values import (
    UnclearValueError,
    outcome_of,
    plain,
    read_minutes,
    read_yes,
    shown,
)

MAX_NOTES = 4_000
UNKNOWN_CUSTOMER, UNKNOWN_MODEL = "Unknown customer", "unknown model"


class RowReader:
    """Reads the cells of one row after the other."""

    def __init__(
        self,
        columns: SheetColumns,
        decisions: Decisions,
        bounds: Bounds,
        fix_types: Mapping[str, str],
        result: Conversion,
        file: str,
    ) -> None:
        self.decisions = decisions
        self.bounds = bounds
        self.result = result
        self.file = file
        self.cells = corrected(columns, decisions)
        self.lines = [int(line) for line in columns.frame.index]
        taken = set(decisions.headers.values())
        self.others = [
            (name, columns.frame[name].tolist())
            for name in columns.names
            if name not in taken and decisions.columns.get(name) != IGNORED
        ]
        self.faults = _entries(decisions.faults)
        self.fixes = _entries(decisions.fixes)
        self.fix_types = dict(fix_types) | {
            group.code: group.fix_type for group in decisions.fixes if group.name
        }
        self.outcomes = {plain(word): o for word, o in decisions.outcomes.items()}
        days, amounts, unit = notation_of(columns, decisions, bounds)
        self.readers: dict[str, Callable[[Cell], Any]] = {
            "booked_in": days.read,
            "handed_over": days.read,
            "charged": amounts.read,
            "parts_cost": amounts.read,
            "minutes": lambda cell: read_minutes(cell, unit=unit),
            "back_again": read_yes,
            "phone": lambda cell: _history_cell(read_phone, cell, bounds),
            "email": lambda cell: _history_cell(read_email, cell, bounds),
            "outcome": self._outcome,
        }
        self.back: dict[int, bool] = {}
        """The lines that say whether the device was back again."""

    def rows(self) -> list[ImportRow]:
        values = {name: self._read(name) for name in self.cells}
        numbers: dict[str, ImportRow] = {}
        seen: dict[tuple[Any, ...], int] = {}
        left_out = set(self.decisions.left_out)
        found = []
        for position, line in enumerate(self.lines):
            if line in left_out:
                self._leave_out(line, "", "Left out by you.")
                continue
            cells = {name: column[position] for name, column in values.items()}
            others = [(name, column[position]) for name, column in self.others]
            row = self._row(line, cells, others)
            if row is not None:
                row = self._numbered(row, numbers, seen)
            if row is None:
                continue
            wrong = list(check_row(row))
            for _, text in wrong:
                self._leave_out(line, "", text)
            if not wrong:
                found.append(row)
        return found

    def _read(self, name: str) -> list[Any]:
        """Return the values of a column; what is not clear is an UnclearValueError.

        Cells that repeat are read once.
        """
        read = self.readers.get(name)
        known: dict[tuple[type, Cell], Any] = {}
        values = []
        for cell in self.cells[name].tolist():
            if cell == "":
                values.append("" if read is None else None)
                continue
            key = (type(cell), cell)
            if key not in known:
                try:
                    known[key] = clean(cell) if read is None else read(cell)
                except UnclearValueError as error:
                    known[key] = error
            values.append(known[key])
        return values

    def _outcome(self, cell: Cell) -> str:
        text = plain(shown(cell))
        outcome = self.outcomes.get(text) or outcome_of(text)
        if not outcome:
            raise UnclearValueError(f"“{shown(cell)[:40]}” is not a known outcome.")
        return "" if outcome == NOT_CODED else outcome

    def _leave_out(self, line: int, name: str, text: str) -> None:
        self.result.remark(line, name, text, is_left_out=True)

    def _row(
        self, line: int, cells: dict[str, Any], others: list[tuple[str, Cell]]
    ) -> ImportRow | None:
        booked_in, handed_over = cells.get("booked_in"), cells.get("handed_over")
        for name in DATES:
            if isinstance(cells.get(name), UnclearValueError):
                self._leave_out(line, name, str(cells[name]))
                return None
        if booked_in is None:
            self._leave_out(line, "booked_in", "There is no day of booking in.")
            return None
        if handed_over is None:
            if self.decisions.without_handover == LEAVE_OUT:
                text = "There is no day of handover."
                self._leave_out(line, "handed_over", text)
                return None
            if self.decisions.without_handover == CLOSE:
                handed_over = booked_in
        elif handed_over < booked_in:
            text = f"Handed over on {handed_over}, but booked in on {booked_in}."
            self._leave_out(line, "handed_over", text)
            return None
        customer = normalize_text(cells.get("customer", ""))
        if not customer:
            if self.decisions.without_customer == LEAVE_OUT:
                self._leave_out(line, "customer", "There is no customer.")
                return None
            customer = UNKNOWN_CUSTOMER
        return self._complete(
            line,
            cells | {"customer": customer, "handed_over": handed_over},
            [(name, shown(cell)) for name, cell in others if cell != ""],
        )

    def _complete(
        self, line: int, cells: dict[str, Any], extra: list[tuple[str, str]]
    ) -> ImportRow:
        notes = [cells["notes"]] if cells.get("notes") else []
        for name in (*AMOUNTS, "minutes", "phone", "email", "outcome", "back_again"):
            if isinstance(cells.get(name), UnclearValueError):
                text = f"{cells[name]} Kept as a note."
                self.result.remark(line, name, text)
                written = shown(self.cells[name].loc[line])
                notes.append(f"{FIELDS[name].label}: {written}")
                cells[name] = None
        if cells.get("back_again"):
            self.back[line] = True
        facts: dict[str, Any] = {
            "phone": cells.get("phone") or "",
            "email": cells.get("email") or "",
            "minutes": cells.get("minutes"),
            "charged": cells.get("charged"),
            "parts_cost": cells.get("parts_cost"),
            "booked_in": cells["booked_in"],
            "handed_back": cells["handed_over"],
        }
        names = ("customer", "kind", "maker", "model", "serial", "complaint", "job")
        for name in names:
            text = cells.get(name, "")
            limit = COLUMNS[name].max_length or MAX_TEXT
            if name != "complaint":
                text = normalize_text(text)
            if len(text) > limit:
                note = f"Longer than {limit} characters. The rest is kept as a note."
                self.result.remark(line, name, note)
                notes.append(f"{FIELDS[name].label}: {text}")
            facts[name] = text[:limit].strip()
        facts["kind"] = facts["kind"] or self.decisions.default_kind
        if not facts["model"]:
            facts["model"] = UNKNOWN_MODEL
            text = f"There is no model: recorded as {UNKNOWN_MODEL}."
            self.result.remark(line, "model", text)
        for name in ("fault", "fix"):
            text = cells[name] = " ".join(cells.get(name, "").split())
            if len(text) > MAX_TEXT:
                notes.append(f"{FIELDS[name].label}: {text}")
        facts |= self._repair(line, cells, facts, notes)
        notes += [f"{name}: {text}" for name, text in extra]
        facts["bench_notes"] = "\n".join(notes)[:MAX_NOTES]
        if len("\n".join(notes)) > MAX_NOTES:
            text = f"The notes of this row are cut at {MAX_NOTES:,} characters."
            self.result.remark(line, "notes", text)
        if not facts["job"]:
            facts["job"] = _number_of(facts)
        return ImportRow(line=line, **facts)

    def _repair(
        self,
        line: int,
        cells: Mapping[str, Any],
        facts: Mapping[str, Any],
        notes: list[str],
    ) -> dict[str, Any]:
        """Return fault, fix and outcome; without codes they are coded later."""
        fault_text, fix_text = cells["fault"][:MAX_TEXT], cells["fix"][:MAX_TEXT]
        fault, fault_name = self.faults.get(plain(fault_text), ("", ""))
        fix, fix_name = self.fixes.get(plain(fix_text), ("", ""))
        outcome = cells.get("outcome") or ""
        coded = {
            "fault": fault,
            "fault_name": fault_name,
            "fix": fix,
            "fix_name": fix_name,
            "declared": self.fix_types.get(fix, "") if fix else "",
            "outcome": outcome,
            "fault_text": fault_text,
            "fix_text": fix_text,
        }
        later = coded | {"is_uncoded": True}
        if facts["handed_back"] is None:
            notes += _labelled(fault=fault_text, fix=fix_text)
            if not fault:
                return self._without_amounts(line, facts, notes, AMOUNTS)
            if outcome != states.FIXED or not fix:
                coded["outcome"] = ""
            return coded
        if outcome == states.DECLINED_BY_CUSTOMER:
            declined = {"fix": "", "fix_name": "", "declared": "", "outcome": ""}
            found = coded | declined | {"is_declined": True}
            if fault:
                return found
            # Without a fault nothing but the fee for the diagnosis is on record.
            notes += _labelled(fault=fault_text, fix=fix_text)
            return found | self._without_amounts(line, facts, notes, ("parts_cost",))
        if not outcome and fault and fix:
            if self.decisions.without_outcome != states.FIXED:
                return later
            return coded | {"outcome": states.FIXED}
        is_complete = outcome == states.FIXED and fault and fix
        is_without_repair = outcome in states.NOT_REPAIRED and (
            (fault and (fix or not fix_text))
            or not (fault_text or fix_text or facts["parts_cost"])
        )
        return coded if is_complete or is_without_repair else later

    def _without_amounts(
        self,
        line: int,
        facts: Mapping[str, Any],
        notes: list[str],
        names: Iterable[str],
    ) -> dict[str, Any]:
        """Return no amounts; those of a job without a repair are notes."""
        for name in names:
            if facts[name]:
                notes += _labelled(**{name: facts[name]})
                text = f"{facts[name]} is kept as a note: the job has no repair."
                self.result.remark(line, name, text)
        return dict.fromkeys(names)

    def _numbered(
        self,
        row: ImportRow,
        numbers: dict[str, ImportRow],
        seen: dict[tuple[Any, ...], int],
    ) -> ImportRow | None:
        """Return the row with a number of its own, unless it belongs to an earlier job.

        Two repairs of one visit share number, day, customer and device.
        """
        values = tuple(getattr(row, name) for name in row.__slots__ if name != "line")
        first = seen.setdefault(values, row.line)
        if first != row.line:
            self._leave_out(row.line, "", f"This row is the same as row {first}.")
            return None
        other = numbers.setdefault(row.job, row)
        if other is row:
            return row
        same = ("booked_in", "handed_back", "customer", "kind", "maker", "model")
        same += ("serial", "complaint", "phone", "email")
        is_visit = all(getattr(row, name) == getattr(other, name) for name in same)
        if is_visit and all(r.fault or r.is_uncoded for r in (row, other)):
            return row
        number, again = row.job, 2
        while (job := f"{number[:36]}-{again}") in numbers:
            again += 1
        text = f"Job {number} is also row {other.line}: recorded as {job}."
        self.result.remark(row.line, "job", text)
        row = replace(row, job=job)
        numbers[job] = row
        return row


def _entries(groups: Iterable[TextGroup]) -> dict[str, tuple[str, str]]:
    """Return code and new name by text."""
    return {
        plain(text): (group.code, group.name or "")
        for group in groups
        if group.code
        for text in group.texts
    }


def _history_cell(
    read: Callable[[str, Bounds], str], cell: Cell, bounds: Bounds
) -> str:
    try:
        return read(shown(cell).strip(), bounds)
    except CellError as error:
        raise UnclearValueError(" ".join(error.args)) from None


def _labelled(**values: object) -> list[str]:
    return [f"{FIELDS[name].label}: {value}" for name, value in values.items() if value]


def _number_of(facts: Mapping[str, Any]) -> str:
    """Return a number for a job without one: the same for the same job, each time."""
    names = ("customer", "phone", "email", "maker", "model", "serial", "complaint")
    text = "\n".join([*(facts[name] for name in names), facts.get("fault_text", "")])
    digest = sha256(text.encode()).hexdigest()[:6].upper()
    return f"S{facts['booked_in']:%y%m%d}-{digest}"
