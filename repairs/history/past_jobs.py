"""Rows put together to jobs: a row a repair, and several of them may be one job."""

from collections.abc import Iterable
from dataclasses import dataclass

from repairs.history.columns import JOB_COLUMNS
from repairs.history.rows import Row, shown
from repairs.history.wrongs import Wrongs
from repairs.jobs import states

MOST_ROWS = 100
"""No job has more repairs than that: the column holds something else."""


@dataclass(frozen=True, slots=True)
class PastJob:
    """A job of the history file. What belongs to the job is the same in all rows."""

    rows: list[Row]

    @property
    def head(self) -> Row:
        return self.rows[0]

    @property
    def repairs(self) -> list[Row]:
        """The rows that name a fault."""
        return [row for row in self.rows if row.fault]

    @property
    def outcome(self) -> str:
        """What came of the job as a whole; empty where the bench is not done with it.

        One fault fixed makes it a fixed job. Handed back with nothing done and no
        outcome told, the customer said no.
        """
        told = {row.outcome for row in self.rows}
        if self.head.handed_back is None and "" in told:
            return ""
        found = (outcome for outcome in states.OUTCOMES if outcome in told)
        return next(found, states.DECLINED_BY_CUSTOMER)

    @property
    def state(self) -> str:
        """Handed back with its day; else ready once the outcome is told."""
        if self.head.handed_back:
            return states.HANDED_BACK
        if self.outcome:
            return states.READY
        return states.DIAGNOSED if self.repairs else states.BOOKED_IN


def past_jobs(rows: Iterable[Row], *, wrongs: Wrongs) -> dict[str, PastJob]:
    """The jobs by their numbers, in the order of the file."""
    jobs: dict[str, PastJob] = {}
    lines: dict[tuple[object, ...], int] = {}
    for row in rows:
        if (job := jobs.get(row.job)) is None:
            jobs[row.job] = PastJob([row])
        else:
            _check_agreement(row, job.head, wrongs=wrongs)
            job.rows.append(row)
            if len(job.rows) == MOST_ROWS + 1:
                wrongs.add(
                    row.line, "job", f"Job {row.job} has more than {MOST_ROWS} rows."
                )
        first = lines.setdefault((row.job, *told(row)), row.line)
        if first != row.line:
            wrongs.add(row.line, "", f"This row is the same as line {first}.")
    for job in jobs.values():
        if len(job.rows) > 1:
            for row in job.rows:
                if not row.fault:
                    wrongs.add(
                        row.line,
                        "fault",
                        f"Job {row.job} has several rows: each needs its fault.",
                    )
    return jobs


def _check_agreement(row: Row, first: Row, *, wrongs: Wrongs) -> None:
    for column in JOB_COLUMNS:
        here, there = getattr(row, column), getattr(first, column)
        if here != there:
            wrongs.add(
                row.line,
                column,
                f"Job {row.job} says {shown(str(here or ''))} here and"
                f" {shown(str(there or ''))} in line {first.line}: all its rows must"
                " agree.",
            )


def told(row: Row) -> tuple[object, ...]:
    """The repair that a row tells of, wherever it stands."""
    return (
        row.fault,
        row.fix,
        row.declared,
        row.outcome,
        row.minutes,
        row.charged,
        row.parts_cost,
        row.parts,
    )
