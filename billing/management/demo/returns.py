"""Devices of the demo shop that are back."""

from datetime import date, timedelta

from django.db.models import Count

from billing.management.demo.till import Till
from repairs.bench import actions as bench
from repairs.faults.models import Fix
from repairs.jobs import cover, states
from repairs.jobs.actions import decide_return
from repairs.jobs.models import Job, Repair


class Returns(Till):
    """What came back, and what it is."""

    def came_back(self, what: str, *, is_mended: bool = False) -> Job:
        """A device mended some weeks ago is at the counter again."""
        days = self.pick.randrange(2, 5)
        earlier = self._earlier(before=self._day(days))
        device = earlier.job.device
        job = self._book_in(
            device,
            device.owner,
            days=days,
            against=earlier,
            complaint="It is the same again, I think.",
            shows_when="when moved",
            came_with="nothing",
            condition="good",
            consent=Job.Consent.NO,
            has_mains=device.model.kind in ("amplifier", "instrument"),
        )
        code = earlier.fault.code
        if what == states.UNDECIDED:
            return job
        with self._at(days - 1, 11):
            decide_return(
                job,
                earlier=earlier,
                what=what,
                is_covered=what == states.SAME_FAULT
                and cover.is_covered(self._day(days), until=earlier.covered_until),
                why="Socket is bent." if what == states.HANDLING_DAMAGE else "",
                on=self._day(days - 1),
                by=self.bench,
            )
        if what != states.SAME_FAULT:
            return job
        job = self._found(job, code, days=days - 1)
        with self._at(days - 1, 15):
            job.approve_under_cover(by=self.bench)
        if is_mended:
            fix = Fix.objects.filter(faults=earlier.fault, declared="lasting")
            with self._at(days - 1, 16):
                bench.choose_fix(
                    job.repairs.get(),
                    fix=fix.order_by("-minutes").first(),
                    version=None,
                    by=self.bench,
                )
            job = self._mend(job, days=days - 2)
        return job

    def _earlier(self, *, before: date) -> Repair:
        """A repair of late that is still covered and whose device is not here."""
        found = (
            Repair.objects.filter(
                outcome=states.FIXED,
                job__is_from_history=True,
                job__handed_back_on__lt=before - timedelta(days=8),
                job__handed_back_on__gt=before - timedelta(days=120),
                covered_until__gte=before,
            )
            .annotate(visits=Count("job__device__jobs", distinct=True))
            .filter(visits=1)
            .select_related("job__device__owner", "job__device__model", "fault")
        )
        return self.pick.choice(list(found.order_by("id")))
