"""Create records from past jobs: all jobs of a file, or none.

What a row says is stored on a record. If the record says something else, such as
another spelling of a customer's name, the text of the row is kept beside it
(`imported_text`).
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from graphlib import TopologicalSorter

from django.db import transaction
from django.db.models import Model

from repairs.diagnosis.learning import learn_all
from repairs.history.existing import (
    job_differences,
    load_jobs,
    record_texts,
    rows_of,
    unmatched,
    write_lines,
)
from repairs.history.issues import ImportIssues
from repairs.history.linked_records import (
    IMPORT_NOTE,
    Created,
    LinkedRecords,
    create,
    noon,
    stock_movement,
)
from repairs.history.past_jobs import PastJob, past_jobs
from repairs.history.rows import ImportRow
from repairs.jobs import states, warranty
from repairs.jobs.costs import repair_cost
from repairs.jobs.models import (
    CheckResult,
    Comeback,
    Job,
    JobTransition,
    Labour,
    PartUsed,
    PastImport,
    Repair,
    ReturnAssessment,
    UncodedRepair,
)
from repairs.stock.models import StockMovement
from shopdesk.lookup import renew_search_indexes
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.shop.models import Shop
from shopdesk.shop.numbering import advance_job_numbers, job_number

MAX_NOTES = Job._meta.get_field("bench_notes").max_length
BATCH = 500
"""Jobs saved between two updates of the progress bar."""
SEEN = Job.symptoms.through
SAVED = (
    *(Job, SEEN, CheckResult, JobTransition, Repair, ReturnAssessment, Labour),
    *(PartUsed, StockMovement, UncodedRepair),
)
"""Saved in this order, as later ones refer to earlier ones."""


@dataclass
class ImportResult:
    """Numbers of records created, and of jobs that existed before."""

    existing: int = 0
    created: Created = field(default_factory=Created)
    unmatched: list[tuple[int, str, str]] = field(default_factory=list)
    """Line, column and text of cells that differ from the record they belong to."""


@transaction.atomic
def import_jobs(
    rows: Iterable[ImportRow],
    *,
    issues: ImportIssues,
    numbers: Collection[str] = (),
    is_check: bool = False,
    file: str = "",
    past_import: PastImport | None = None,
    progress: Callable[[int], object] = lambda jobs: None,
) -> ImportResult:
    """Import past jobs, each once. Jobs on record are not changed.

    A job that differs from the one on record is an issue. With any issue, or for a
    check, nothing is saved. `numbers` are the job numbers of rows that could not be
    read; `progress` is called with the number of jobs saved. The trail keeps the name
    of the `file`, with the number of records of each kind. The jobs name the
    `past_import` by which they can be undone.
    """
    jobs = past_jobs(rows, issues=issues)
    result = ImportResult()
    new = dict(jobs)
    for job in load_jobs(jobs):
        result.existing += 1
        _check_existing(new.pop(job.number), job, issues)
    returned_from = {job.head.returned_from for job in new.values()} - new.keys()
    linked = LinkedRecords(
        list(new.values()),
        earlier={job.number: job for job in load_jobs(returned_from)},
        created=result.created,
    )
    linked.look_up(numbers=numbers, issues=issues)
    if new and not issues and not is_check:
        _Importer(linked, result, past_import).save(progress)
        renew_search_indexes()
        created = {kind._meta.label_lower: n for kind, n in result.created.items()}
        record_event(Action.IMPORTED, file=file, **created)
    return result


def _check_existing(past: PastJob, job: Job, issues: ImportIssues) -> None:
    for row, column, difference in job_differences(past.rows, rows_of(job)):
        text = (
            f"Job {row.job} already exists with different data: {difference}. It was"
            " not changed."
        )
        issues.add(row.line, column, text)


class _Importer:
    """Saves the jobs of one file."""

    def __init__(
        self,
        linked: LinkedRecords,
        result: ImportResult,
        past_import: PastImport | None,
    ) -> None:
        self.linked = linked
        self.past_import = past_import
        self.result = result
        self.shop = Shop.current()
        self.repairs = {
            number: list(job.repairs.all()) for number, job in linked.earlier.items()
        }
        """The repairs of each job that exists or was saved."""

    def save(self, progress: Callable[[int], object]) -> None:
        self.linked.save()
        jobs = _in_order(self.linked.jobs)
        for start in range(0, len(jobs), BATCH):
            batch = jobs[start : start + BATCH]
            self._save_jobs(batch)
            progress(len(batch))
        Comeback.objects.write_all()
        learn_all()
        _advance_job_numbers(jobs)

    def _save_jobs(self, batch: list[PastJob]) -> None:
        records: dict[type[Model], list[Model]] = {kind: [] for kind in SAVED}
        for past in batch:
            for record in self._records(past):
                records[type(record)].append(record)
        for of_kind in records.values():
            create(of_kind, self.result.created)

    def _records(self, past: PastJob) -> Iterator[Model]:
        """Yield the job and all its records, each before those that refer to it."""
        head, day = past.head, past.head.handed_back or past.head.booked_in
        job = self._job(past)
        yield job
        yield JobTransition(
            job=job,
            from_state="",
            to_state=past.state,
            made_at=noon(day),
            why=IMPORT_NOTE,
        )
        for symptom in self.linked.symptoms(head.symptoms):
            yield SEEN(job=job, symptom=symptom)
        for check, found in self.linked.results(head.checks).items():
            yield CheckResult(
                job=job, check_made=check, result=found, made_at=noon(head.booked_in)
            )
        assessment = self._assessment(job, past)
        if assessment:
            yield assessment
        for row in past.uncoded:
            yield self._uncoded(job, row)
        if not (past.repairs or past.uncoded) and head.minutes:
            yield Labour(job=job, minutes=head.minutes, note=IMPORT_NOTE)
        self.repairs[head.job] = []
        for row, is_covered in zip(
            past.repairs, self._covered(past, assessment), strict=True
        ):
            repair = self._repair(job, row, assessment if is_covered else None)
            self.repairs[head.job].append(repair)
            yield repair
            for part_used in self._parts_used(repair, row):
                yield part_used
                yield stock_movement(
                    part_used.delivery,
                    kind=StockMovement.Kind.USED,
                    quantity=-part_used.quantity,
                    on=day,
                    reason=f"job {head.job}",
                )

    def _job(self, past: PastJob) -> Job:
        head = past.head
        customer, device = self.linked.customer(head.job), self.linked.device(head.job)
        texts = unmatched(head, record_texts(customer, device))
        if head.returned_from and not self.repairs[head.returned_from]:
            # Without a repair there is nothing to link the return to.
            texts["returned_from"] = head.returned_from
            texts["return_is"] = head.return_is
        return Job(
            number=head.job,
            device=device,
            customer=customer,
            state=past.state,
            outcome=past.outcome,
            complaint=head.complaint,
            agreed_diagnosis_fee=(
                None if past.repairs or past.uncoded else head.charged
            ),
            booked_in_on=head.booked_in,
            handed_over_on=head.handed_back,
            bench_notes=_all_notes(past),
            is_from_history=True,
            past_import=self.past_import,
            imported_text=self._imported_text(head, texts),
        )

    def _imported_text(self, row: ImportRow, texts: dict[str, str]) -> str:
        self.result.unmatched += [(row.line, *cell) for cell in texts.items()]
        return write_lines(texts)

    def _assessment(self, job: Job, past: PastJob) -> ReturnAssessment | None:
        """Return the assessment of the return on the day it came in."""
        head = past.head
        if not head.returned_from or not self.repairs[head.returned_from]:
            return None
        faults = {row.fault for row in past.repairs}
        earlier = min(
            self.repairs[head.returned_from],
            # The repair of the same fault, else one that was fixed, else the first.
            key=lambda r: (r.fault.code not in faults, r.outcome != states.FIXED),
        )
        return ReturnAssessment(
            job=job,
            earlier=earlier,
            assessment=head.return_is or states.UNDECIDED,
            is_in_warranty=head.return_is == states.SAME_FAULT
            and warranty.is_in_warranty(head.booked_in, until=earlier.warranty_until),
            assessed_on=head.booked_in,
        )

    @staticmethod
    def _covered(past: PastJob, assessment: ReturnAssessment | None) -> list[bool]:
        """Return which of the repairs the earlier repair's warranty covers."""
        is_free = assessment is not None and assessment.is_warranty_repair
        by = assessment.earlier.fault.code if is_free else None
        return warranty.covered([row.fault for row in past.repairs], by=by)

    def _repair(
        self, job: Job, row: ImportRow, covered_by: ReturnAssessment | None
    ) -> Repair:
        fault, fix = self.linked.faults[row.fault], self.linked.fixes.get(row.fix)
        record = {"fault_name": fault.name, "fix_name": fix.name if fix else ""}
        repair = Repair(
            job=job,
            fault=fault,
            fix=fix,
            fix_type=row.declared,
            outcome=row.outcome,
            note=original_texts(row.fault_text, row.fix_text),
            no_part_needed=bool(row.fix and row.outcome and not row.parts),
            minutes_from_history=row.minutes or 0,
            charged=row.charged,
            parts_cost_from_history=row.other_parts_cost,
            imported_text=self._imported_text(row, unmatched(row, record)),
            handed_over_on=job.handed_over_on,
        )
        if row.handed_back:
            set_cost_and_warranty(
                repair,
                parts=[
                    (row.other_parts_cost, 1),
                    *((part.cost or Decimal(0), part.quantity) for part in row.parts),
                ],
                covered_by=covered_by,
                shop=self.shop,
            )
        return repair

    def _uncoded(self, job: Job, row: ImportRow) -> UncodedRepair:
        return UncodedRepair(
            job=job,
            fault_text=row.fault_text,
            fix_text=row.fix_text,
            fault=self.linked.faults.get(row.fault),
            fix=self.linked.fixes.get(row.fix),
            outcome=row.outcome,
            minutes=row.minutes or 0,
            charged=row.charged,
            parts_cost=row.other_parts_cost,
        )

    def _parts_used(self, repair: Repair, row: ImportRow) -> Iterator[PartUsed]:
        for part in row.parts:
            delivery = self.linked.deliveries[part.number, part.lot]
            yield PartUsed(
                repair=repair,
                part=delivery.part,
                delivery=delivery,
                quantity=part.quantity,
                cost=part.cost or Decimal(0),
            )


def _all_notes(past: PastJob) -> str:
    """Return the notes of all rows of a job, each once."""
    notes = dict.fromkeys(row.bench_notes for row in past.rows if row.bench_notes)
    return "\n".join(notes)[:MAX_NOTES]


def original_texts(fault: str, fix: str) -> str:
    """Return what a shop's own list said of a repair, as the note on it."""
    texts = (("Fault", fault), ("Fix", fix))
    return "\n".join(f"{label} as written: {text}" for label, text in texts if text)


def set_cost_and_warranty(
    repair: Repair,
    *,
    parts: Sequence[tuple[Decimal, int]],
    covered_by: ReturnAssessment | None,
    shop: Shop,
) -> None:
    """Set what a past repair cost the shop, and its warranty from the handover.

    `parts` are the costs of one with their quantities.
    """
    repair.cost = repair_cost(
        repair.minutes_from_history, hourly_cost=shop.hourly_cost, parts=parts
    )
    if repair.outcome == states.FIXED:
        promise = repair.promise(
            on=repair.handed_over_on, shop=shop, decision=covered_by
        )
        repair.warranty_days, repair.warranty_until = promise.days, promise.until


def _in_order(jobs: list[PastJob]) -> list[PastJob]:
    """Return the jobs by day; on the same day, a return after its earlier job."""
    numbers = {job.head.job for job in jobs}
    earlier = {job.head.job: {job.head.returned_from} & numbers for job in jobs}
    order = {
        n: rank for rank, n in enumerate(TopologicalSorter(earlier).static_order())
    }
    return sorted(jobs, key=lambda job: (job.head.booked_in, order[job.head.job]))


def _advance_job_numbers(jobs: list[PastJob]) -> None:
    """Let the shop's own job numbers continue after those in the file."""
    last: Counter[int] = Counter()
    for job in jobs:
        year, number = job.head.booked_in.year, job.head.job[3:]
        is_number = number.isascii() and number.isdigit() and len(number) <= 8
        if is_number and job_number(year, int(number)) == job.head.job:
            last[year] = max(last[year], int(number))
    for year, number in last.items():
        advance_job_numbers(year, past=number)
