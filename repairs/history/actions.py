"""Past jobs become records: all of a file, or nothing of it.

Whatever a row says lands on a record. Where the record says otherwise already, such as
another spelling of a customer's name, the row's own words stay beside it (`as_told`).
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.db import transaction

from repairs.history import queries
from repairs.history.beside import beside, lines_written
from repairs.history.books.actions import FROM_FILE, Books, move, noon, write
from repairs.history.known import job_differences
from repairs.history.past_jobs import PastJob, past_jobs
from repairs.history.people import Told, matched
from repairs.history.rows import Row
from repairs.history.wrongs import Wrongs
from repairs.jobs import cover, states
from repairs.jobs.models import (
    Comeback,
    Job,
    Labour,
    PartUsed,
    Repair,
    ReturnDecision,
    Step,
)
from repairs.jobs.numbers import job_number
from repairs.stock.models import StockMove
from shopdesk.shop.models import Series, Shop

SLICE = 500
"""Jobs written between two moves of the progress bar."""


@dataclass
class Brought:
    """How many records a file made, and how many of its jobs were known before."""

    known: int = 0
    made: Counter = field(default_factory=Counter)
    beside: list[tuple[int, str, str]] = field(default_factory=list)
    """Line, column and words of cells that differ from the record they belong to."""


@transaction.atomic
def bring_in(
    rows: Iterable[Row],
    *,
    wrongs: Wrongs,
    seen: Collection[str] = (),
    is_check: bool = False,
    progress: Callable[[int], object] = lambda jobs: None,
) -> Brought:
    """Bring past jobs into the books, each once.

    Jobs on record stay as they are; one that the file tells otherwise is told in
    `wrongs`. With anything in `wrongs`, or for a check, nothing is written. `seen` are
    the numbers of jobs whose rows could not be read, `progress` hears of jobs done.
    """
    told = past_jobs(rows, wrongs=wrongs)
    known = queries.numbers_known(told)
    new = [job for number, job in told.items() if number not in known]
    brought = Brought(known=len(known))
    for job in queries.jobs_told(known):
        _check_known(told[job.number], queries.rows_of(job), wrongs)
    came_from = {job.head.returned_from for job in new} - {job.head.job for job in new}
    books = Books(
        new,
        people=matched(
            [Told(job.head.customer, job.head.email, job.head.phone) for job in new],
            known=queries.people() if new else [],
        ),
        known={job.number: job for job in queries.jobs_told(came_from)},
        made=brought.made,
    )
    books.find_devices(seen=seen, wrongs=wrongs)
    books.find_faults(wrongs=wrongs)
    if new and not wrongs and not is_check:
        _Writing(books, brought).write(progress)
    return brought


def _check_known(job: PastJob, known: Sequence[Row], wrongs: Wrongs) -> None:
    for row, apart in job_differences(job.rows, known):
        for one in apart:
            says = (
                f"the file says “{one.in_file}”, on record is “{one.on_record}”"
                if one.column
                else f"the file has {one.in_file}"
            )
            wrongs.add(
                row.line,
                one.column,
                f"Job {row.job} is known and differs: {says}. It is not overwritten.",
            )


class _Writing:
    """The jobs of one file on their way into the books."""

    def __init__(self, books: Books, brought: Brought) -> None:
        self.books = books
        self.jobs = books.jobs
        self.known = books.known
        self.brought = brought
        self.shop = Shop.current()
        self.repairs: dict[str, list[Repair]] = {}

    def write(self, progress: Callable[[int], object]) -> None:
        self.books.write()
        jobs = sorted(self.jobs, key=self._in_order())
        for start in range(0, len(jobs), SLICE):
            some = jobs[start : start + SLICE]
            self._write_jobs(some)
            progress(len(some))
        Comeback.objects.write_all()
        self._pass_over_numbers()

    def _in_order(self) -> Callable[[PastJob], tuple]:
        """By day; of one day, a return after the job it came back from."""
        by_number = {job.head.job: job for job in self.jobs}
        depth: dict[str, int] = {}
        for start in by_number:
            path, number = [], start
            while number in by_number and number not in depth:
                path.append(number)
                number = by_number[number].head.returned_from
            below = depth.get(number, 0)
            for steps, passed in enumerate(reversed(path), start=1):
                depth[passed] = below + steps
        return lambda job: (job.head.booked_in, depth[job.head.job])

    def _write_jobs(self, some: list[PastJob]) -> None:
        jobs, repairs, decisions, steps = [], [], [], []
        labour, used, moves = [], [], []
        for told in some:
            head = told.head
            job = self._job(told)
            jobs.append(job)
            steps.append(
                Step(
                    job=job,
                    old="",
                    new=told.state,
                    made_at=noon(head.handed_back or head.booked_in),
                    why=FROM_FILE,
                )
            )
            decision = self._decision(job, told)
            if decision:
                decisions.append(decision)
            if not told.repairs and head.minutes:
                labour.append(Labour(job=job, minutes=head.minutes, note=FROM_FILE))
            self.repairs[head.job] = []
            for row in told.repairs:
                repair = self._repair(job, row, decision)
                self.repairs[head.job].append(repair)
                repairs.append(repair)
                for part in row.parts:
                    delivery = self.books.deliveries[part.number, part.lot]
                    used.append(
                        PartUsed(
                            repair=repair,
                            part=delivery.part,
                            delivery=delivery,
                            quantity=part.quantity,
                            cost=part.cost or Decimal(0),
                        )
                    )
                    moves.append(
                        move(
                            delivery,
                            kind=StockMove.Kind.USED,
                            quantity=-part.quantity,
                            on=head.handed_back or head.booked_in,
                            why=f"job {head.job}",
                        )
                    )
        for records in (jobs, steps, repairs, decisions, labour, used, moves):
            write(records, made=self.brought.made)

    def _job(self, told: PastJob) -> Job:
        head = told.head
        customer = self.books.customer(head.job)
        device = self.books.device(head.job)
        on_record = {
            "customer": customer.name,
            "email": customer.email,
            "phone": customer.phone,
            "kind": device.model.kind,
            "maker": device.model.maker,
            "model": device.model.model,
            "serial": device.serial,
        }
        words = beside(head, on_record)
        if head.returned_from and not self._repairs_of(head.returned_from):
            # Nothing was repaired there that this could be held against.
            words["returned_from"] = head.returned_from
            words["return_is"] = head.return_is
        self.brought.beside += [(head.line, *cell) for cell in words.items()]
        return Job(
            number=head.job,
            device=device,
            customer=customer,
            state=told.state,
            outcome=told.outcome,
            complaint=head.complaint,
            fee_agreed=None if told.repairs else head.charged,
            booked_in_on=head.booked_in,
            handed_back_on=head.handed_back,
            is_from_history=True,
            as_told=lines_written(words),
        )

    def _repairs_of(self, number: str) -> list[Repair]:
        if number in self.known:
            return list(self.known[number].repairs.all())
        return self.repairs[number]

    def _decision(self, job: Job, told: PastJob) -> ReturnDecision | None:
        """What the return is, decided on the day it came in."""
        head = told.head
        if not head.returned_from or not self._repairs_of(head.returned_from):
            return None
        here = {row.fault for row in told.repairs}
        earlier = min(
            self._repairs_of(head.returned_from),
            # The repair of the same fault, else one that was fixed, else the first.
            key=lambda r: (r.fault.code not in here, r.outcome != states.FIXED),
        )
        return ReturnDecision(
            job=job,
            earlier=earlier,
            what=head.return_is or states.UNDECIDED,
            is_covered=head.return_is == states.SAME_FAULT
            and cover.is_covered(head.booked_in, until=earlier.covered_until),
            decided_on=head.booked_in,
        )

    def _repair(self, job: Job, row: Row, decision: ReturnDecision | None) -> Repair:
        fault, fix = self.books.faults[row.fault], self.books.fixes.get(row.fix)
        on_record = {"fault_name": fault.name, "fix_name": fix.name if fix else ""}
        words = beside(row, on_record)
        self.brought.beside += [(row.line, *cell) for cell in words.items()]
        repair = Repair(
            job=job,
            fault=fault,
            fix=fix,
            declared=row.declared,
            outcome=row.outcome,
            no_part_needed=bool(row.fix and row.outcome and not row.parts),
            minutes_from_history=row.minutes or 0,
            charged=row.charged,
            parts_cost_from_history=row.parts_cost_beyond,
            as_told=lines_written(words),
            handed_back_on=job.handed_back_on,
        )
        if row.handed_back:
            labour = Decimal(row.minutes or 0) * self.shop.cost_rate / 60
            parts = sum(((p.cost or 0) * p.quantity for p in row.parts), Decimal(0))
            repair.cost = (
                labour.quantize(Decimal("0.0001")) + parts + row.parts_cost_beyond
            )
            if row.outcome == states.FIXED:
                self._start_cover(repair, on=row.handed_back, decision=decision)
        return repair

    def _start_cover(
        self, repair: Repair, *, on: date, decision: ReturnDecision | None
    ) -> None:
        """The promise that the shop's rules make today for such a repair."""
        old = decision.earlier.covered_until if decision else None
        if decision and decision.is_covered and old:
            repair.covered_until = cover.redo_covered_until(
                on, old_until=old, rest_days=self.shop.cover_rest
            )
            repair.cover_days = (repair.covered_until - on).days
        else:
            days = repair.fix.cover_days
            if days is None:
                days = self.shop.cover_days(repair.declared)
            repair.cover_days = days
            repair.covered_until = cover.covered_until(on, days=days)

    def _pass_over_numbers(self) -> None:
        """Let the shop's own numbers go on after those of the file that look alike."""
        last: Counter = Counter()
        for job in self.jobs:
            year, number = job.head.booked_in.year, job.head.job[3:]
            is_number = number.isascii() and number.isdigit() and len(number) <= 8
            if is_number and job_number(year, int(number)) == job.head.job:
                last[year] = max(last[year], int(number))
        for year, number in last.items():
            series, _ = Series.objects.get_or_create(name=f"job {year}")
            if series.last < number:
                Series.objects.filter(pk=series.pk, last__lt=number).update(last=number)
