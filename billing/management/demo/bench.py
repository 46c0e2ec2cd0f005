"""The bench of the demo shop: found, mended, proven, closed."""

from decimal import Decimal

from django.utils import timezone

from billing.management.demo.counter import Counter
from repairs.bench import actions as bench
from repairs.faults.models import Fault, Symptom
from repairs.history.demo.book import FAULTS
from repairs.jobs import states
from repairs.jobs.actions import use_part
from repairs.jobs.models import Job


class Bench(Counter):
    """What the bench does with a device that is here."""

    def __init__(self, **who) -> None:
        super().__init__(**who)
        self.faults = {fault.code: fault for fault in Fault.objects.all()}

    def diagnosed(self, code: str, *, days: int) -> Job:
        return self._found(self._new(code, days=days), code, days=days - 1)

    def _found(self, job: Job, code: str, *, days: int) -> Job:
        """The fault is seen, measured and named."""
        with self._at(days, 13):
            tries = self.pick.choice((3, 5, 5))
            bench.save_findings(
                job,
                failed=tries - self.pick.choice((0, 0, 1)),
                tries=tries,
                symptoms=Symptom.objects.filter(name=FAULTS[code].symptom),
                notes="Seen as the customer tells it.",
                version=None,
                by=self.bench,
            )
            bench.take_reading(
                job,
                at=timezone.now(),
                by=self.bench,
                what="current drawn without a battery",
                value=Decimal(self.pick.randrange(2, 90)) / 100,
                unit="A",
                low=Decimal("0.02"),
                high=Decimal("0.60"),
            )
            repair = bench.name_fault(job, fault=self.faults[code], by=self.bench)
            bench.book_minutes(
                job,
                repair=repair,
                minutes=self.pick.randrange(10, 25),
                is_billable=True,
                note="finding",
                by=self.bench,
            )
            job.diagnose(by=self.bench)
        return job

    def _wait(self, job: Job, waiting_on: str) -> None:
        bench.save_head(
            job,
            waiting_on=waiting_on,
            promised_on=self._day(-self.pick.randrange(1, 6)),
            version=None,
            by=self.bench,
        )

    def _mend(self, job: Job, *, days: int) -> Job:
        """The fix is in, with its parts and minutes."""
        with self._at(days, 14):
            for repair in job.repairs.select_related("fix"):
                for usual in repair.fix.usual_parts.select_related("part"):
                    use_part(
                        repair,
                        part=usual.part,
                        quantity=usual.quantity,
                        by=self.bench,
                    )
                bench.book_minutes(
                    job,
                    repair=repair,
                    minutes=repair.fix.minutes + self.pick.randrange(-5, 12),
                    is_billable=True,
                    note="",
                    by=self.bench,
                )
            job.repair_done(by=self.bench)
        return job

    def _prove(self, job: Job, *, days: int) -> Job:
        with self._at(days, 17):
            for repair in job.repairs.going_on():
                bench.run_proof(
                    repair,
                    tries=repair.tries_needed,
                    failed=0,
                    note="",
                    at=timezone.now(),
                    by=self.bench,
                )
        job.refresh_from_db()
        return job

    def _close(self, job: Job, *, days: int) -> Job:
        with self._at(days, 10):
            bench.close_fixed(
                job,
                repairs={
                    repair: {
                        "outcome": states.FIXED,
                        "declared": repair.declared or repair.fix.declared,
                        "no_part_needed": not repair.fix.needs_parts,
                    }
                    for repair in job.repairs.select_related("fix")
                },
                why="",
                version=None,
                by=self.bench,
            )
        job.refresh_from_db()
        return job

    def needs_parts(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        self._wait(job, "parts")
        return job

    def nothing_found(self, code: str, *, days: int) -> Job:
        job = self._new(code, days=days)
        with self._at(days - 1, 15):
            job.close(
                outcome=states.NO_FAULT_FOUND,
                by=self.bench,
                why="Ran for four hours under load and never went off.",
            )
        return job

    def not_repairable(self, code: str, *, days: int) -> Job:
        job = self.diagnosed(code, days=days)
        with self._at(days - 2, 15):
            job.close(
                outcome=states.NOT_REPAIRABLE,
                by=self.bench,
                why="Corroded through under three chips.",
            )
        return job
