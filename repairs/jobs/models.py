"""The job and all that is written down while it is here."""

from contextlib import contextmanager
from datetime import date, datetime
from decimal import Decimal
from uuid import uuid4

from django.conf import settings
from django.db import models, transaction
from django.db.models import F, Q, Sum
from django.urls import reverse
from django.utils import timezone

from repairs.customers.models import Customer, Device
from repairs.faults import declared
from repairs.faults.models import Fault, Fix, Symptom
from repairs.jobs import cover, states
from repairs.jobs.numbers import from_label, job_number, label_code
from repairs.jobs.proof import tries_needed
from repairs.stock.models import Delivery, Part
from shopdesk.fields import ExactField, MoneyField
from shopdesk.shop.models import Series, Shop

STAFF = settings.AUTH_USER_MODEL


class NotYet(Exception):
    """A step refused because something is missing, told as a sentence."""


class Stale(Exception):
    """Someone else changed the job since the page was opened, told as a sentence."""


class JobQuerySet(models.QuerySet):
    def open(self):
        """Those not handed back yet."""
        return self.exclude(state=states.HANDED_BACK)

    def of_device(self, device: Device):
        """Every visit of one device, the latest first."""
        return self.filter(device=device).order_by("-booked_in_on", "-id")

    def for_rows(self):
        """With all that one row of a list of jobs shows."""
        return self.select_related("device__model", "customer")

    def visits(self, *, on: date) -> "list[Job]":
        """Each visit with its repairs, the latest first, judged on the day `on`.

        A job gets `days_since`, the days since it was handed back; each of its repairs
        gets `still_covered`.
        """
        jobs = self.order_by("-booked_in_on", "-id").select_related("customer")
        jobs = list(jobs.prefetch_related("repairs__fault", "repairs__fix"))
        for job in jobs:
            back = job.handed_back_on
            job.days_since = None if back is None else (on - back).days
            for repair in job.repairs.all():
                repair.still_covered = cover.is_covered(on, until=repair.covered_until)
        return jobs

    def numbered(self, text: str):
        """The job of this number, typed or scanned from a label."""
        text = text.strip()
        return self.filter(
            Q(number__iexact=text) | Q(number__iexact=from_label(text) or text)
        )


class Job(models.Model):
    """One visit of one device, from booking in to handing back."""

    class CameBy(models.TextChoices):
        COUNTER = "counter", "over the counter"
        POST = "post", "by post"

    class Consent(models.TextChoices):
        ASK = "ask", "not asked yet"
        NO = "no", "do not look at the data"
        YES = "yes", "may look where the work needs it"

    class WaitingOn(models.TextChoices):
        NOBODY = "", "nobody"
        CUSTOMER = "customer", "customer"
        PARTS = "parts", "parts"
        POST = "post", "post"

    number = models.CharField(max_length=40, unique=True)
    # Made with the form of booking in: the same form sent twice is one job.
    key = models.UUIDField(unique=True, default=uuid4, editable=False)
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="jobs")
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="jobs"
    )
    state = models.CharField(
        max_length=12, choices=states.CHOICES, default=states.BOOKED_IN, editable=False
    )
    outcome = models.CharField(
        max_length=14,
        choices=list(states.JOB_OUTCOMES.items()),
        blank=True,
        default="",
        editable=False,
    )

    complaint = models.TextField(
        "complaint, in the customer's words", max_length=2000, blank=True
    )
    shows_when = models.CharField("when it shows", max_length=300, blank=True)
    counter_failed = models.PositiveSmallIntegerField(
        "failed at the counter", null=True, blank=True
    )
    counter_tries = models.PositiveSmallIntegerField(
        "tries at the counter", null=True, blank=True
    )
    condition = models.CharField("condition on arrival", max_length=300, blank=True)
    came_with = models.CharField(max_length=300, blank=True)
    came_by = models.CharField(max_length=7, choices=CameBy, default=CameBy.COUNTER)
    has_swollen_battery = models.BooleanField("swollen battery", default=False)
    has_liquid = models.BooleanField("liquid got in", default=False)
    has_mains = models.BooleanField("mains inside", default=False)
    consent = models.CharField(
        "the data on it", max_length=3, choices=Consent, default=Consent.ASK
    )
    fee_agreed = MoneyField("fee agreed for finding the fault", null=True, blank=True)
    promised_on = models.DateField("promised for", null=True, blank=True)
    waiting_on = models.CharField(
        max_length=8, choices=WaitingOn, blank=True, default=""
    )
    uncollected_since = models.DateField(null=True, blank=True)

    # What the bench saw when it tried the complaint.
    symptoms = models.ManyToManyField(Symptom, blank=True, related_name="jobs")
    verified_failed = models.PositiveSmallIntegerField("failed", null=True, blank=True)
    verified_tries = models.PositiveSmallIntegerField("tries", null=True, blank=True)
    bench_notes = models.TextField(max_length=4000, blank=True)

    booked_in_on = models.DateField()
    handed_back_on = models.DateField(null=True, blank=True, editable=False)
    booked_in_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    # Comes from a history file: no step of it was made here.
    is_from_history = models.BooleanField(default=False, editable=False)
    # What the file said of customer and device that their records say otherwise: a
    # line for each, "column: words".
    as_told = models.TextField(blank=True, default="", editable=False)
    # For two people at one job: who changed it last, and how often it was changed.
    version = models.PositiveIntegerField(default=1, editable=False)
    changed_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    changed_at = models.DateTimeField(null=True, editable=False)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-booked_in_on", "-id"]
        indexes = [
            models.Index(fields=["state", "booked_in_on"]),
            models.Index(fields=["handed_back_on"]),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=list(states.LABELS)), name="job_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["", *states.JOB_OUTCOMES]),
                name="job_outcome_is_known",
            ),
            models.CheckConstraint(
                condition=Q(state=states.HANDED_BACK, handed_back_on__isnull=False)
                | (~Q(state=states.HANDED_BACK) & Q(handed_back_on=None)),
                name="job_handed_back_has_its_day",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[states.READY, states.HANDED_BACK])
                | ~Q(outcome=""),
                name="job_finished_has_outcome",
            ),
            models.CheckConstraint(
                condition=Q(handed_back_on=None)
                | Q(handed_back_on__gte=F("booked_in_on")),
                name="job_not_back_before_it_came",
            ),
            models.CheckConstraint(
                condition=Q(verified_failed=None, verified_tries=None)
                | Q(verified_tries__gte=1, verified_failed__lte=F("verified_tries")),
                name="job_verified_k_of_m",
            ),
            models.CheckConstraint(
                condition=Q(counter_failed=None, counter_tries=None)
                | Q(counter_tries__gte=1, counter_failed__lte=F("counter_tries")),
                name="job_counter_k_of_m",
            ),
            models.CheckConstraint(
                condition=Q(fee_agreed=None) | Q(fee_agreed__gte=0),
                name="job_fee_not_negative",
            ),
        ]

    def __str__(self):
        return self.number

    def get_absolute_url(self):
        return reverse("bench:job", args=[self.pk])

    @staticmethod
    def next_number(on: date) -> str:
        """The next job number of the year, passing over numbers a history file took."""
        while True:
            number = job_number(on.year, Series.take(f"job {on.year}"))
            if not Job.objects.filter(number=number).exists():
                return number

    @property
    def label_code(self) -> str:
        return label_code(self.number)

    @property
    def is_open(self) -> bool:
        return self.state != states.HANDED_BACK

    @property
    def decision(self) -> "ReturnDecision | None":
        """What was decided last about this job as a return."""
        return self.decisions.order_by("-id").first()

    @property
    def is_under_cover(self) -> bool:
        """Whether this visit costs the customer nothing: a covered comeback."""
        decision = self.decision
        return (
            decision is not None
            and decision.is_covered
            and decision.what == states.SAME_FAULT
        )

    @property
    def was_approved(self) -> bool:
        """Whether the last yes, by quote or by cover, still stands."""
        asked = (states.DIAGNOSED, states.QUOTED, states.APPROVED, states.DECLINED)
        last = self.steps.filter(new__in=asked).exclude(old__in=states.PROVING).last()
        return last is not None and last.new == states.APPROVED

    @property
    def approved_under_cover(self) -> bool:
        """Whether the yes that stands is the shop's own promise, not the customer's."""
        yes = self.steps.filter(new=states.APPROVED, old__in=states.BEFORE_YES).last()
        return self.was_approved and yes is not None and yes.old == states.DIAGNOSED

    @property
    def unassigned_minutes(self) -> int:
        """Minutes that were not booked on one of the repairs, such as finding."""
        return self.labour.filter(repair=None).aggregate(n=Sum("minutes"))["n"] or 0

    def open_ends(self) -> list[str]:
        """What must be settled before the bench lets go of it, whatever came of it."""
        ends = [
            f"{timer.by or 'Somebody'}’s timer still runs on this job: stop it first."
            for timer in self.labour.running().select_related("by")
        ]
        decision = self.decision
        if decision is not None and decision.what == states.UNDECIDED:
            ends.append("This is a return: decide first what it is.")
        return ends

    def missing_to_close(self) -> list[str]:
        """What must still be done before it can be closed as fixed, as sentences."""
        repairs = list(self.repairs.select_related("fault", "fix"))
        if not repairs:
            return [*self.open_ends(), "No fault has been named yet."]
        missing = [why for repair in repairs for why in repair.missing_to_close()]
        if not any(r.outcome in ("", states.FIXED) for r in repairs):
            missing.append("No fault of this job is fixed: close it another way.")
        return [*self.open_ends(), *missing]

    # --- the steps ----------------------------------------------------------

    @contextmanager
    def changing(self, *, version: int | None, by):
        """What is done inside is done to the job as its reader saw it, or not at all.

        Raises Stale where the job has changed since `version`; None asks nothing.
        """
        with transaction.atomic():
            seen = Job.objects.select_for_update().filter(pk=self.pk)
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
        now = Job.objects.select_for_update().get(pk=self.pk)
        states.check_step(now.state, new, only_from=only_from)
        moved = Job.objects.filter(pk=self.pk, state=now.state).update(
            state=new,
            version=F("version") + 1,
            changed_by=by,
            changed_at=timezone.now(),
            **changes,
        )
        if not moved:
            raise states.WrongStep("Someone else moved this job just now.")
        self.steps.create(
            old=now.state, new=new, by=by, why=why, made_at=timezone.now()
        )
        self.refresh_from_db()

    def _check_from(self, *allowed: str, new: str) -> None:
        """Refuse a verb by the state of now before it asks for anything else."""
        now = Job.objects.select_for_update().only("state").get(pk=self.pk).state
        states.check_step(now, new, only_from=allowed)

    def arrive(self, *, on: date, by) -> None:
        """The announced device is here."""
        self._step(states.BOOKED_IN, by=by, booked_in_on=on)

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
    def approve_under_cover(self, *, by) -> None:
        """The shop's own promise is the yes: no quote, and no cost to the customer."""
        self._check_from(states.DIAGNOSED, new=states.APPROVED)
        self._check_cover()
        self._step(states.APPROVED, by=by, why="under cover")

    def _check_cover(self) -> None:
        decision = self.decision
        if decision is not None and decision.what == states.UNDECIDED:
            raise NotYet("This is a return: decide first what it is.")
        if not self.is_under_cover:
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
        self._check_from(states.REPAIRED, new=states.PROVEN)
        for repair in self.repairs.going_on().select_related("fault"):
            if not repair.is_proven:
                raise NotYet(repair.proof_sentence())
        self._step(states.PROVEN, by=by)

    def proof_failed(self, *, by, why: str = "") -> None:
        """It failed again: back to the bench."""
        self._step(states.APPROVED, by=by, why=why, only_from=states.PROVING)

    @transaction.atomic
    def close(self, *, outcome: str, by, why: str = "") -> None:
        """The bench is done with it. `outcome` is one of states.JOB_OUTCOMES."""
        if outcome not in states.JOB_OUTCOMES:
            raise NotYet("Say what came of it.")
        if outcome == states.FIXED:
            self._check_from(states.PROVEN, new=states.READY)
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
        self._step(states.READY, by=by, why=why, outcome=outcome, waiting_on="")

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
    def hand_back(self, *, on: date, by) -> None:
        """The device leaves: what it cost is kept, cover starts for what was fixed."""
        if on < self.booked_in_on:
            raise NotYet("A device can't leave before the day it came in.")
        self._step(states.HANDED_BACK, by=by, handed_back_on=on, uncollected_since=None)
        cost_rate = Shop.current().cost_rate
        for repair in self.repairs.select_related("fix"):
            repair.cost = repair.cost_now(cost_rate=cost_rate)
            repair.save(update_fields=["cost"])
            if repair.outcome == states.FIXED:
                repair.start_cover(on=on)
        # Whoever was shown the code stays on record, without it.
        AccessCode.objects.filter(job=self, shown_at=None).delete()


class AccessCode(models.Model):
    """What opens the device: sealed, shown once with a reason, then gone."""

    job = models.OneToOneField(
        Job, on_delete=models.CASCADE, related_name="access_code"
    )
    sealed = models.BinaryField(null=True, editable=False)
    shown_at = models.DateTimeField(null=True, blank=True, editable=False)
    shown_to = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    why = models.CharField(max_length=300, blank=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(sealed__isnull=False, shown_at=None)
                | (Q(sealed=None, shown_at__isnull=False) & ~Q(why="")),
                name="access_code_gone_once_shown",
            ),
        ]

    def __str__(self):
        return f"access code of {self.job}"


class Step(models.Model):
    """One step of a job: from, to, who, when, why. Never changed."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="steps")
    old = models.CharField(max_length=12, choices=states.CHOICES, blank=True)
    new = models.CharField(max_length=12, choices=states.CHOICES)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    why = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self):
        return f"{self.job}: {self.old or 'new'} to {self.new}"


class RepairQuerySet(models.QuerySet):
    def going_on(self):
        """Those that are, or are meant to be, fixed: not given up."""
        return self.filter(outcome__in=["", states.FIXED])


class Repair(models.Model):
    """One fix done for one fault on one job: the pair that is counted."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="repairs")
    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="repairs")
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="repairs"
    )
    by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    declared = models.CharField(
        max_length=7, choices=declared.CHOICES, blank=True, default=""
    )
    outcome = models.CharField(
        max_length=14, choices=list(states.OUTCOMES.items()), blank=True, default=""
    )
    note = models.TextField(max_length=4000, blank=True)
    no_part_needed = models.BooleanField("no part was needed", default=False)
    # Booked minutes are rows of Labour; a history file knows only the sum.
    minutes_from_history = models.PositiveIntegerField(default=0, editable=False)
    # The file's cost of parts beyond what its parts cost one by one.
    parts_cost_from_history = MoneyField(default=Decimal(0), editable=False)
    as_told = models.TextField(blank=True, default="", editable=False)
    charged = MoneyField(null=True, blank=True, editable=False)
    # What it cost the shop, fixed at handing back: labour at the cost rate, and parts.
    cost = MoneyField(null=True, blank=True, editable=False)
    cover_days = models.PositiveSmallIntegerField(null=True, blank=True)
    covered_until = models.DateField(null=True, blank=True, editable=False)

    objects = RepairQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(declared__in=["", *declared.LABELS]),
                name="repair_declared_is_known",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["", *states.OUTCOMES]),
                name="repair_outcome_is_known",
            ),
            models.CheckConstraint(
                condition=~Q(outcome=states.FIXED)
                | (Q(fix__isnull=False) & ~Q(declared="")),
                name="repair_fixed_has_fix_and_kind",
            ),
            models.CheckConstraint(
                condition=(Q(charged=None) | Q(charged__gte=0))
                & (Q(cost=None) | Q(cost__gte=0)),
                name="repair_amounts_not_negative",
            ),
        ]

    def __str__(self):
        return f"{self.fault.code} / {self.fix.code if self.fix else 'no fix yet'}"

    @property
    def minutes(self) -> int:
        """Minutes of work on this repair, booked or from a history file."""
        booked = self.labour.aggregate(n=Sum("minutes"))["n"] or 0
        return booked + self.minutes_from_history

    @property
    def seen_to_fail(self) -> tuple[int, int]:
        """How often it failed in how many tries before the repair."""
        job = self.job
        if job.verified_tries and job.verified_failed:
            return job.verified_failed, job.verified_tries
        if job.counter_tries and job.counter_failed:
            # Not seen at the bench, but seen at the counter.
            return job.counter_failed, job.counter_tries
        return 1, 1

    @property
    def tries_needed(self) -> int:
        """Clean tries that make the proof run mean something."""
        failed, tries = self.seen_to_fail
        return tries_needed(failed, tries, risk=float(Shop.current().proof_risk))

    @property
    def standing_runs(self) -> "list[ProofRun]":
        """The runs that count: made since the job was last taken back to the bench."""
        back = self.job.steps.filter(
            old__in=[*states.PROVING, states.READY],
            new__in=[states.APPROVED, states.DIAGNOSED],
        ).last()
        runs = self.proof_runs.order_by("id")
        if back is not None:
            runs = runs.filter(run_at__gte=back.made_at)
        return list(runs)

    @property
    def last_proof(self) -> "ProofRun | None":
        return self.proof_runs.order_by("-id").first()

    @property
    def clean_tries(self) -> int:
        """Clean tries in a row, over one or several runs, since it last failed."""
        clean = 0
        for run in self.standing_runs:
            clean = 0 if run.failed else clean + run.tries
        return clean

    @property
    def is_proven(self) -> bool:
        runs = self.standing_runs
        return bool(runs) and self.clean_tries >= runs[-1].needed

    def proof_sentence(self) -> str:
        """Where the proof run stands, in a sentence."""
        runs = self.standing_runs
        if not runs:
            return f"{self.fault.code}: no proof run yet."
        if runs[-1].failed:
            return (
                f"{self.fault.code}: the last proof run failed"
                f" {runs[-1].failed} of {runs[-1].tries} tries."
            )
        clean, needed = self.clean_tries, runs[-1].needed
        if clean < needed:
            return (
                f"{self.fault.code}: {clean} clean tries of the"
                f" {needed} that are needed."
            )
        return f"{self.fault.code}: {clean} clean tries, {needed} needed."

    def missing_to_close(self) -> list[str]:
        """What keeps this repair from being closed as it stands, as sentences.

        While its outcome is missing it is judged as if it were to be fixed.
        """
        code = self.fault.code
        if self.outcome not in ("", states.FIXED):
            return []
        missing = []
        if not self.outcome:
            missing.append(f"{code}: the outcome is missing.")
        if self.fix is None:
            missing.append(f"{code}: the fix is missing.")
        if self.outcome and not self.declared:
            missing.append(f"{code}: say whether the fix is lasting or a stopgap.")
        if (
            self.fix is not None
            and self.fix.needs_parts
            and not self.no_part_needed
            and not self.parts_used.exists()
        ):
            missing.append(
                f"{code}: this fix takes a part and none is booked. Book it, or say"
                " that no part was needed."
            )
        if not self.is_proven:
            missing.append(self.proof_sentence())
        return missing

    def cost_now(self, *, cost_rate: Decimal) -> Decimal:
        """What the repair has cost the shop so far: minutes at the cost rate, parts.

        Minutes booked on the job as a whole are shared evenly by its repairs.
        """
        shared = Decimal(self.job.unassigned_minutes) / self.job.repairs.count()
        labour = (self.minutes + shared) * cost_rate / 60
        return labour.quantize(Decimal("0.0001")) + sum(
            (used.cost * used.quantity for used in self.parts_used.all()),
            self.parts_cost_from_history,
        )

    def start_cover(self, *, on: date) -> None:
        """Promise the days of cover."""
        shop = Shop.current()
        decision = self.job.decision
        old = decision.earlier.covered_until if decision and decision.earlier else None
        if decision and decision.is_covered and old:
            self.covered_until = cover.redo_covered_until(
                on, old_until=old, rest_days=shop.cover_rest
            )
            self.cover_days = (self.covered_until - on).days
        else:
            if self.cover_days is None:
                by_fix = self.fix.cover_days if self.fix else None
                self.cover_days = (
                    by_fix if by_fix is not None else shop.cover_days(self.declared)
                )
            self.covered_until = cover.covered_until(on, days=self.cover_days)
        self.save(update_fields=["cover_days", "covered_until"])


class LabourQuerySet(models.QuerySet):
    def running(self):
        """Timers that were started and not stopped."""
        return self.filter(started_at__isnull=False, ended_at=None)


class Labour(models.Model):
    """Minutes at the bench, by timer or by hand."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="labour")
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.CASCADE, related_name="labour"
    )
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    minutes = models.PositiveIntegerField(default=0)
    is_billable = models.BooleanField("billable", default=True)
    note = models.CharField(max_length=200, blank=True)

    objects = LabourQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "labour"
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=F("started_at")),
                name="labour_ends_after_it_starts",
            ),
            models.CheckConstraint(
                condition=Q(minutes__lte=10_000), name="labour_minutes_make_sense"
            ),
            # One person works on one thing at a time.
            models.UniqueConstraint(
                fields=["by"],
                condition=Q(started_at__isnull=False, ended_at=None),
                name="labour_one_running_timer",
            ),
        ]

    def __str__(self):
        return f"{self.minutes} min on {self.job}"

    @property
    def is_running(self) -> bool:
        return self.started_at is not None and self.ended_at is None

    def stop(self, *, at: datetime) -> None:
        """Stop the timer; a minute begun counts."""
        seconds = max(0, (at - self.started_at).total_seconds())
        self.ended_at = max(at, self.started_at)
        self.minutes = min(10_000, int(-(-seconds // 60)))
        self.save(update_fields=["ended_at", "minutes"])


class PartUsed(models.Model):
    """A part that went into a repair: cost and price as they were then."""

    repair = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="parts_used"
    )
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="used_in")
    delivery = models.ForeignKey(
        Delivery,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="used_in",
    )
    quantity = models.PositiveIntegerField(default=1)
    cost = MoneyField("cost of one", default=Decimal(0))
    price = MoneyField("price of one", default=Decimal(0))

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "parts used"
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gte=1, cost__gte=0, price__gte=0),
                name="part_used_amounts",
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.part}"


class Reading(models.Model):
    """A measurement with its unit and what was expected."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="readings")
    what = models.CharField(max_length=120)
    value = ExactField()
    unit = models.CharField(max_length=12, blank=True)
    low = ExactField("expected from", null=True, blank=True)
    high = ExactField("expected to", null=True, blank=True)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    read_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low=None) | Q(high=None) | Q(low__lte=F("high")),
                name="reading_low_below_high",
            ),
        ]

    def __str__(self):
        return f"{self.what}: {self.value} {self.unit}"

    @property
    def value_said(self) -> str:
        """The value without the zeros that nobody measured."""
        return _said(self.value)

    @property
    def expected_said(self) -> str:
        if self.low is None and self.high is None:
            return ""
        if self.high is None:
            return f"from {_said(self.low)}"
        if self.low is None:
            return f"up to {_said(self.high)}"
        return f"{_said(self.low)} to {_said(self.high)}"

    @property
    def passes(self) -> bool | None:
        """Whether the value is as expected; None where nothing was expected."""
        if self.low is None and self.high is None:
            return None
        return (self.low is None or self.value >= self.low) and (
            self.high is None or self.value <= self.high
        )


def _said(amount: Decimal) -> str:
    return f"{amount.normalize():f}"


class ProofRun(models.Model):
    """Tries after the repair, and how many of them failed."""

    repair = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="proof_runs"
    )
    tries = models.PositiveSmallIntegerField()
    failed = models.PositiveSmallIntegerField(default=0)
    needed = models.PositiveSmallIntegerField(editable=False)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    run_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(tries__gte=1, failed__lte=F("tries"), needed__gte=1),
                name="proof_run_counts",
            ),
        ]

    def __str__(self):
        return f"{self.failed} of {self.tries} failed"


class ReturnDecision(models.Model):
    """What a return is. Rows are added, never changed: the last one holds.

    So any past day can be asked what was known on it.
    """

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="decisions")
    earlier = models.ForeignKey(
        Repair, on_delete=models.PROTECT, related_name="held_against"
    )
    what = models.CharField(
        "what it is", max_length=15, choices=list(states.RETURN_IS.items())
    )
    is_covered = models.BooleanField("covered", default=False)
    why = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    decided_on = models.DateField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["earlier", "what"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(what__in=list(states.RETURN_IS)),
                name="return_is_known",
            ),
            # Only the same fault is owed: all else is new work.
            models.CheckConstraint(
                condition=Q(is_covered=False)
                | Q(what__in=[states.SAME_FAULT, states.UNDECIDED]),
                name="return_covered_only_same_fault",
            ),
        ]

    def __str__(self):
        return f"{self.job}: {self.get_what_display()}"
