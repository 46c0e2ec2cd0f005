"""Jobs of the demo shop that were agreed to: at the bench, proven, ready."""

from datetime import timedelta

from django.utils import timezone

from billing.management.demo.changes import Changes
from billing.quotes.models import Quote
from repairs.bench import actions as bench
from repairs.jobs import states
from repairs.jobs.models import Job


class Mended(Changes):
    """How far the work has got."""

    def with_timer(self, code: str, *, days: int) -> Job:
        job = self.approved(code, days=days)
        at = self.now - timedelta(minutes=24)
        repair = job.repairs.get()
        bench.start_timer(job, repair=repair, at=at, by=self.bench)
        return job

    def repaired(self, code: str, *, days: int) -> Job:
        return self._mend(self.approved(code, days=days), days=days - 3)

    def failed_proof(self, code: str, *, days: int) -> Job:
        """Back at the bench: the fault showed again in the proof run."""
        job = self.refused_more(code, days=days)
        with self._at(days - 4, 11):
            bench.run_proof(
                job.repairs.get(),
                tries=6,
                failed=1,
                note="showed again when warm",
                at=timezone.now(),
                by=self.bench,
            )
        job.refresh_from_db()
        return job

    def proven(self, code: str, *, days: int, how: str = Quote.How.PHONE) -> Job:
        job = self._mend(self.approved(code, days=days, how=how), days=days - 3)
        return self._prove(job, days=days - 3)

    def proven_by_link(self, code: str, *, days: int) -> Job:
        """The customer said yes on their telephone."""
        return self.proven(code, days=days, how=Quote.How.LINK)

    def proven_signed(self, code: str, *, days: int) -> Job:
        """The customer signed on the counter's screen."""
        return self.proven(code, days=days, how=Quote.How.SCREEN)

    def repaired_by_form(self, code: str, *, days: int) -> Job:
        return self._mend(self.approved_by_form(code, days=days), days=days - 3)

    def ready(self, code: str, *, days: int) -> Job:
        return self._close(self.proven(code, days=days), days=days - 4)

    def ready_with_more(self, code: str, *, days: int) -> Job:
        """Ready, with a change that was agreed to on the way."""
        job = self._prove(self.agreed_to_more(code, days=days), days=days - 3)
        return self._close(job, days=days - 4)

    def uncollected(self, code: str, *, days: int) -> Job:
        job = self.ready(code, days=days)
        job.uncollected_since = self._day(days - 4 - 30)
        job.save(update_fields=["uncollected_since"])
        return job

    def ready_declined(self, code: str, *, days: int) -> Job:
        job = self.declined(code, days=days)
        with self._at(days - 4, 9):
            job.close(outcome=states.DECLINED_BY_CUSTOMER, by=self.counter)
        return job
