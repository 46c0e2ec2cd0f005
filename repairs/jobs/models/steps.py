"""The verbs of a job: what a person does with it, step by step."""

from contextlib import contextmanager
from datetime import date

from django.db import models, transaction
from django.db.models import F
from django.utils import timezone

from repairs.jobs import states
from shopdesk.errors import RefusedError, StaleError
from shopdesk.shop.models import Shop


class NotYet(RefusedError):
    """A step refused because something is missing, told as a sentence."""


class Stale(StaleError):
    """Someone else changed the job since the page was opened, told as a sentence."""


class Stepping(models.Model):
    """A job as it is moved on; what it holds and knows stands in `Job`."""

    class Meta:
        abstract = True

    def _row(self):
        """What the database says of it now, and nobody else changes meanwhile."""
        return type(self).objects.select_for_update().filter(pk=self.pk)

    @contextmanager
    def changing(self, *, version: int | None, by):
        """What is done inside is done to the job as its reader saw it, or not at all.

        Raises Stale where the job has changed since `version`; None asks nothing.
        """
        with transaction.atomic():
            seen = self._row()
            if version is not None:
                seen = seen.filter(version=version)
            if not seen.update(
                version=F("version") + 1, changed_by=by, changed_at=timezone.now()
            ):
                self.refresh_from_db()
                raise Stale(self._who_was_quicker())
            self.refresh_from_db()
            yield self

    def _who_was_quicker(self) -> str:
        when = timezone.localtime(self.changed_at).strftime(" at %H:%M")
        return (
            f"{self.changed_by or 'Someone else'} changed this job{when}, after you"
            " opened it. What you typed is kept: look at it again, then send it again."
        )

    @transaction.atomic
    def _step(self, new: str, *, by, why: str = "", only_from=None, **changes) -> None:
        """The only writer of `state`: judged on what the database says now.

        `only_from` narrows the table where several verbs lead to the same state.
        """
        now = self._row().get()
        states.check_step(now.state, new, only_from=only_from)
        moved = (
            self._row()
            .filter(state=now.state)
            .update(
                state=new,
                version=F("version") + 1,
                changed_by=by,
                changed_at=timezone.now(),
                **changes,
            )
        )
        if not moved:
            raise states.WrongStep("Someone else moved this job just now.")
        self.steps.create(
            old=now.state, new=new, by=by, why=why, made_at=timezone.now()
        )
        self.refresh_from_db()

    def _check_from(self, *allowed: str, new: str) -> None:
        """Refuse a verb by the state of now before it asks for anything else."""
        now = self._row().only("state").get().state
        states.check_step(now, new, only_from=allowed)

    @transaction.atomic
    def arrive(self, *, on: date, by) -> None:
        """The announced device is here."""
        self._step(states.BOOKED_IN, by=by, booked_in_on=on)
        self._write_comebacks()

    def _write_comebacks(self) -> None:
        from repairs.jobs.models.decision import Comeback

        Comeback.objects.write(self)

    @transaction.atomic
    def diagnose(self, *, by) -> None:
        """The fault is found."""
        self._check_from(states.BOOKED_IN, new=states.DIAGNOSED)
        if not self.repairs.exists():
            raise NotYet("Name the fault first.")
        self._step(states.DIAGNOSED, by=by)

    def quote(self, *, by) -> None:
        """An offer went to the customer."""
        self._step(states.QUOTED, by=by)

    @transaction.atomic
    def approve(self, *, by, why: str = "") -> None:
        """The customer said yes, or the work is under cover."""
        self._check_from(*states.BEFORE_YES, new=states.APPROVED)
        self.refresh_from_db(fields=["state"])
        if self.state == states.DIAGNOSED:
            self._check_cover()
        self._step(states.APPROVED, by=by, why=why)

    @transaction.atomic
    def approve_warranty_repair(self, *, by) -> None:
        """The shop's own promise is the yes: no quote, and no cost to the customer."""
        self._check_from(states.DIAGNOSED, new=states.APPROVED)
        self._check_cover()
        self._step(states.APPROVED, by=by, why="under cover")

    def _check_cover(self) -> None:
        decision = self.decision
        if decision is not None and decision.what == states.UNDECIDED:
            raise NotYet("This is a return: decide first what it is.")
        if not self.is_warranty_repair:
            raise NotYet("Without cover the customer must say yes to a quote first.")

    def decline(self, *, by, why: str = "") -> None:
        """The customer said no."""
        self._step(states.DECLINED, by=by, why=why)

    def revise(self, *, by, why: str = "") -> None:
        """Back to the desk: the quote must change."""
        self._step(
            states.DIAGNOSED,
            by=by,
            why=why,
            only_from=(states.QUOTED, states.APPROVED, states.DECLINED),
        )

    @transaction.atomic
    def repair_done(self, *, by) -> None:
        """The fix is in; it is not proven yet."""
        self._check_from(states.APPROVED, new=states.REPAIRED)
        going_on = self.repairs.going_on()
        if not going_on.exists():
            raise NotYet("No fault is being repaired: name one, or close another way.")
        if going_on.filter(fix=None).exists():
            raise NotYet("Say which fix was done for each fault.")
        self._step(states.REPAIRED, by=by)

    @transaction.atomic
    def prove(self, *, by) -> None:
        """The proof run is long enough and clean."""
        self._check_from(states.REPAIRED, new=states.TESTED)
        for repair in self.repairs.going_on().select_related("fault"):
            if not repair.is_tested:
                raise NotYet(repair.proof_sentence())
        self._step(states.TESTED, by=by)

    def proof_failed(self, *, by, why: str = "") -> None:
        """It failed again: back to the bench."""
        self._step(states.APPROVED, by=by, why=why, only_from=states.PROVING)

    @transaction.atomic
    def close(self, *, outcome: str, by, why: str = "") -> None:
        """The bench is done with it. `outcome` is one of states.JOB_OUTCOMES."""
        if outcome not in states.JOB_OUTCOMES:
            raise NotYet("Say what came of it.")
        if outcome == states.FIXED:
            self._check_from(states.TESTED, new=states.READY)
            missing = self.missing_to_close()
        elif outcome == states.DECLINED_BY_CUSTOMER:
            self._check_from(states.DECLINED, new=states.READY)
            missing = self.open_ends()
        else:
            self._check_from(*states.AT_THE_BENCH, new=states.READY)
            missing = self.open_ends()
            if not why.strip():
                missing.append("Say in a sentence how you came to this.")
            if self.repairs.filter(outcome=states.FIXED).exists():
                missing.append("A fault of this job is marked fixed.")
        if missing:
            raise NotYet(" ".join(missing))
        if outcome in states.OUTCOMES:
            self.repairs.filter(outcome="").update(outcome=outcome)
        self._step(states.READY, by=by, why=why, outcome=outcome, waiting_for="")

    @transaction.atomic
    def reopen(self, *, by, why: str) -> None:
        """Back to the bench from the shelf of finished jobs.

        Where the customer's yes, or the cover, still stands the work goes on; else it
        must be quoted. What came of each repair is open again.
        """
        self._check_from(states.READY, new=states.DIAGNOSED)
        if not why.strip():
            raise NotYet("Say why the job is opened again.")
        new = states.APPROVED if self.was_approved else states.DIAGNOSED
        self.repairs.update(outcome="")
        self._step(new, by=by, why=why, only_from=(states.READY,), outcome="")

    @transaction.atomic
    def hand_over(self, *, on: date, by) -> None:
        """The device leaves: what it cost is kept, cover starts for what was fixed."""
        if on < self.booked_in_on:
            raise NotYet("A device can't leave before the day it came in.")
        self._step(states.HANDED_OVER, by=by, handed_over_on=on, uncollected_since=None)
        hourly_cost = Shop.current().hourly_cost
        for repair in self.repairs.select_related("fix"):
            repair.cost = repair.cost_now(hourly_cost=hourly_cost)
            repair.handed_over_on = on
            repair.save(update_fields=["cost", "handed_over_on"])
            if repair.outcome == states.FIXED:
                repair.start_cover(on=on)
        self._write_comebacks()
        # Whoever was shown the code stays on record, without it.
        code = getattr(self, "access_code", None)
        if code is not None and code.shown_at is None:
            code.delete()
