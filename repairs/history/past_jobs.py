"""Combine rows into jobs: a row is a repair, and a job may have several."""

from collections.abc import Iterable
from dataclasses import dataclass

from repairs.history.cells import quoted
from repairs.history.issues import ImportIssues
from repairs.history.rows import JOB_COLUMNS, REPAIR_COLUMNS, ImportRow
from repairs.jobs import states

MAX_ROWS = 100
"""The most repairs of a job; more suggest that the column holds something else."""
COMPARED = [c for c in REPAIR_COLUMNS if c not in ("fault_name", "fix_name")]
COMPARED += ["fault_text", "fix_text"]


@dataclass(frozen=True, slots=True)
class PastJob:
    """A job of the history file. Values of the job are the same in all its rows."""

    rows: list[ImportRow]

    @property
    def head(self) -> ImportRow:
        return self.rows[0]

    @property
    def repairs(self) -> list[ImportRow]:
        """The rows that count as repairs: those with a fault, and a fix if needed."""
        return [row for row in self.rows if row.fault and not row.needs_coding]

    @property
    def uncoded(self) -> list[ImportRow]:
        """The rows to be coded later."""
        return [row for row in self.rows if row.needs_coding]

    @property
    def outcome(self) -> str:
        """The outcome of the whole job; empty while it is still at the bench.

        If one fault is fixed, the job is fixed. Handed over without an outcome, it was
        declined, or is not coded yet.
        """
        outcomes = {row.outcome for row in self.rows if not row.needs_coding}
        if self.head.handed_back is None and "" in outcomes:
            return ""
        found = (outcome for outcome in states.OUTCOMES if outcome in outcomes)
        otherwise = states.NOT_CODED if self.uncoded else states.DECLINED_BY_CUSTOMER
        return next(found, otherwise)

    @property
    def state(self) -> str:
        if self.head.handed_back:
            return states.HANDED_OVER
        if self.outcome:
            return states.READY
        return states.DIAGNOSED if self.repairs else states.BOOKED_IN


def past_jobs(rows: Iterable[ImportRow], *, issues: ImportIssues) -> dict[str, PastJob]:
    """Return the jobs by number, in the order of the file."""
    jobs: dict[str, PastJob] = {}
    for row in rows:
        jobs.setdefault(row.job, PastJob([])).rows.append(row)
    for job in jobs.values():
        if len(job.rows) > 1:
            _check_rows(job, issues)
    return jobs


def _check_rows(job: PastJob, issues: ImportIssues) -> None:
    """Add an issue for each contradiction between the rows of one job."""
    first, number = job.head, job.head.job
    lines: dict[tuple[object, ...], int] = {}
    for row in job.rows:
        for column in JOB_COLUMNS:
            here, there = getattr(row, column), getattr(first, column)
            if here != there:
                issues.add(
                    row.line,
                    column,
                    f"Job {number} has {quoted(str(here or ''))} here and"
                    f" {quoted(str(there or ''))} in line {first.line}. All rows of a"
                    " job must have the same value.",
                )
        if not row.fault and not row.is_uncoded:
            text = f"Job {number} has several rows: each must name its fault."
            issues.add(row.line, "fault", text)
        values = tuple(getattr(row, column) for column in COMPARED)
        earlier = lines.setdefault(values, row.line)
        if earlier != row.line:
            issues.add(row.line, "", f"This row is the same as line {earlier}.")
    if len(job.rows) > MAX_ROWS:
        text = f"Job {number} has more than {MAX_ROWS} rows."
        issues.add(job.rows[MAX_ROWS].line, "job", text)
