"""Past jobs as a history file, which `import_history` reads as what they are."""

import csv
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TextIO

from repairs.faults import fix_types
from repairs.history.cells import Bounds
from repairs.history.existing import load_jobs, rows_of
from repairs.history.issues import ImportIssues
from repairs.history.past_jobs import past_jobs
from repairs.history.rows import COLUMNS, ImportRow, read_row
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.spreadsheet import mark_formula, unmark_formula

LABELS = {
    "declared": fix_types.LABELS,
    "outcome": states.OUTCOMES,
    "return_is": states.RETURN_ASSESSMENTS,
}
"""What the file calls the stored values of these columns."""


@dataclass
class ExportResult:
    jobs: int = 0
    left_out: dict[str, str] = field(default_factory=dict)
    """The numbers of jobs that the format cannot hold, each with the reason."""


def write_past_jobs(file: TextIO, *, bounds: Bounds) -> ExportResult:
    """Write all jobs that were handed over, a row for each repair.

    Each row is read again at once: a job that would not be read as what it is, is left
    out, and so are its returns. So an import of the file changes nothing.
    """
    handed_over = Job.objects.filter(handed_over_on__isnull=False).order_by("pk")
    numbers = list(handed_over.values_list("number", flat=True))
    left_out: dict[str, str] = {}
    earlier: dict[str, str] = {}
    for job in load_jobs(numbers):
        rows = _rows(job)
        earlier[job.number] = rows[0].returned_from
        if problem := _problem(rows, bounds=bounds):
            left_out[job.number] = problem
    while more := {n for n, of in earlier.items() if of in left_out} - left_out.keys():
        for number in more:
            left_out[number] = f"It is a return of job {earlier[number]}."
    result = ExportResult(left_out=left_out)
    writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for job in load_jobs(number for number in numbers if number not in left_out):
        writer.writerows(_cells(row) for row in _rows(job))
        result.jobs += 1
    return result


def _rows(job: Job) -> list[ImportRow]:
    """Return the rows of a job; a part whose cost is not known is stored with 0."""
    return [
        replace(row, parts=tuple(replace(p, cost=p.cost or None) for p in row.parts))
        for row in rows_of(job)
    ]


def _problem(rows: list[ImportRow], *, bounds: Bounds) -> str:
    """Return why these rows cannot be in a file; empty if they can."""
    if any(row.is_uncoded for row in rows):
        return "It is not coded yet."
    issues = ImportIssues()
    again = list(_read_again(rows, bounds=bounds, issues=issues))
    past_jobs((row for row in again if row), issues=issues)
    if issues:
        return str(issues.first(1)[0])
    for row, other in zip(rows, again, strict=True):
        for name in COLUMNS:
            if getattr(row, name) != getattr(other, name):
                return f"{name} would be read as another value."
    return ""


def _read_again(
    rows: list[ImportRow], *, bounds: Bounds, issues: ImportIssues
) -> Iterator[ImportRow | None]:
    for line, row in enumerate(rows, start=2):
        cells = {name: unmark_formula(text) for name, text in _cells(row).items()}
        yield read_row(line, cells, bounds=bounds, issues=issues)


def _cells(row: ImportRow) -> dict[str, str]:
    return {name: mark_formula(_text(name, getattr(row, name))) for name in COLUMNS}


def _text(name: str, value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return ";".join(map(str, value))
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return LABELS[name][value] if value and name in LABELS else str(value)
