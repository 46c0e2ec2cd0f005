"""The job: one visit of one device, every step it took, and what opens the device."""

from datetime import date
from uuid import uuid4

from django.conf import settings
from django.db import models
from django.db.models import F, Prefetch, Q
from django.db.models.functions import Upper
from django.urls import reverse

from repairs.customers.models import Customer, Device
from repairs.faults.models import Symptom
from repairs.jobs import states, warranty
from repairs.jobs.models.import_of_past_jobs import PastImport
from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.lookup import narrowed, rank_matches
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop.numbering import give_job_number, label_code, read_label

STAFF = settings.AUTH_USER_MODEL


class JobQuerySet(RecordedQuerySet):
    def open(self):
        """Those not handed over yet: few of many, which the index of that day finds."""
        return self.filter(handed_over_on=None)

    def of_device(self, device: Device):
        """Every visit of one device, the latest first."""
        return self.filter(device=device).order_by("-booked_in_on", "-id")

    def for_list(self):
        """With all that one row of a list of jobs shows."""
        return self.select_related("device__model", "customer")

    def visits(self, *, on: date) -> "list[Job]":
        """Each visit with its repairs, the latest first, judged on the day `on`.

        A job gets `days_since`, the days since it was handed over; each of its repairs
        gets `still_in_warranty`.
        """
        jobs = self.order_by("-booked_in_on", "-id").select_related("customer")
        repairs = Job.repairs.rel.related_model.objects.select_related("fault", "fix")
        jobs = list(jobs.prefetch_related(Prefetch("repairs", repairs)))
        for job in jobs:
            back = job.handed_over_on
            job.days_since = None if back is None else (on - back).days
            for repair in job.repairs.all():
                repair.set_warranty_status(on=on)
        return jobs

    def numbered_like(self, words: str):
        """Those whose number contains `words`."""
        return narrowed(self, "search_job", words).filter(number__icontains=words)

    def search(self, words: str):
        """Those whose number `words` may mean, the latest first."""
        return rank_matches(
            self.numbered_like(words),
            exact=Q(number__iexact=words),
            begins=Q(number__istartswith=words),
            then=["-pk"],
        )

    def with_number(self, text: str):
        """The job of this number, typed or scanned from a label."""
        text = text.strip()
        numbers = {text, read_label(text) or text}
        # As the index has it: for `iexact` SQLite would not look there.
        return self.alias(bare=Upper("number")).filter(
            bare__in=[Upper(models.Value(number)) for number in numbers]
        )


class Job(Recorded):
    """One visit of one device, from booking in to handing over."""

    class CameBy(models.TextChoices):
        COUNTER = "counter", "over the counter"
        POST = "post", "by post"

    class DataAccess(models.TextChoices):
        ASK = "ask", "not asked"
        NO = "no", "no access"
        YES = "yes", "access if needed for the repair"

    class WaitingFor(models.TextChoices):
        NOBODY = "", "nobody"
        CUSTOMER = "customer", "customer"
        PARTS = "parts", "parts"
        POST = "post", "post"

    class OldParts(models.TextChoices):
        UNKNOWN = "", "not recorded"
        RETURNED = "returned", "returned to the customer"
        KEPT = "kept", "kept by the shop"

    number = models.CharField(max_length=40, unique=True)
    # Made with the form of booking in: the same form sent twice is one job.
    key = models.UUIDField(unique=True, default=uuid4, editable=False)
    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="jobs")
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="jobs"
    )
    state = models.CharField(
        "status",
        max_length=12,
        choices=states.CHOICES,
        default=states.BOOKED_IN,
        editable=False,
    )
    outcome = models.CharField(
        max_length=14,
        choices=list(states.JOB_OUTCOMES.items()),
        blank=True,
        default="",
        editable=False,
    )

    complaint = models.TextField(
        "complaint, in the customer’s words", max_length=2000, blank=True
    )
    occurs_when = models.CharField("when it happens", max_length=300, blank=True)
    counter_failures = models.PositiveSmallIntegerField(
        "failed at the counter", null=True, blank=True
    )
    counter_tries = models.PositiveSmallIntegerField(
        "tries at the counter", null=True, blank=True
    )
    condition = models.CharField("condition on arrival", max_length=300, blank=True)
    accessories = models.CharField(max_length=300, blank=True)
    came_by = models.CharField(max_length=7, choices=CameBy, default=CameBy.COUNTER)
    has_swollen_battery = models.BooleanField("swollen battery", default=False)
    has_liquid_damage = models.BooleanField("liquid damage", default=False)
    has_mains_voltage = models.BooleanField("mains voltage inside", default=False)
    battery_disconnected_at = models.DateTimeField(null=True, blank=True)
    battery_disconnected_by = models.ForeignKey(
        STAFF, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    data_access = models.CharField(
        "customer data", max_length=3, choices=DataAccess, default=DataAccess.ASK
    )
    agreed_diagnosis_fee = MoneyField("diagnosis fee", null=True, blank=True)
    due_on = models.DateField("due date", null=True, blank=True)
    waiting_for = models.CharField(
        max_length=8, choices=WaitingFor, blank=True, default=""
    )
    waiting_note = models.CharField("part or person", max_length=120, blank=True)
    waiting_since = models.DateField(null=True, blank=True, editable=False)
    place = models.CharField("storage place", max_length=40, blank=True)
    assigned_to = models.ForeignKey(
        STAFF, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    old_parts = models.CharField(
        "replaced parts", max_length=8, choices=OldParts, blank=True, default=""
    )
    uncollected_since = models.DateField(null=True, blank=True)

    # What the bench saw when it tried the complaint.
    symptoms = models.ManyToManyField(Symptom, blank=True, related_name="jobs")
    verified_failures = models.PositiveSmallIntegerField(
        "failed", null=True, blank=True
    )
    verified_tries = models.PositiveSmallIntegerField("tries", null=True, blank=True)
    # A soak test before the repair: so many failures in so many hours.
    soak_failures = models.PositiveSmallIntegerField(null=True, blank=True)
    soak_hours = FixedDecimalField(null=True, blank=True)
    bench_notes = models.TextField(max_length=4000, blank=True)

    booked_in_on = models.DateField()
    handed_over_on = models.DateField(null=True, blank=True, editable=False)
    booked_in_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    # Comes from a history file: no step of it was made here.
    is_from_history = models.BooleanField(default=False, editable=False)
    # The import that created it, if that can be undone.
    past_import = models.ForeignKey(
        PastImport,
        null=True,
        on_delete=models.PROTECT,
        related_name="jobs",
        editable=False,
    )
    # What the file said of customer and device that their records say otherwise: a
    # line for each, "column: words".
    imported_text = models.TextField(blank=True, default="", editable=False)
    # For two people at one job: who changed it last, and how often it was changed.
    version = models.PositiveIntegerField(default=1, editable=False)
    changed_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    changed_at = models.DateTimeField(null=True, editable=False)

    # The trail itself says who changed it, and how often.
    unrecorded = frozenset({"key", "version", "changed_by", "changed_at"})

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-booked_in_on", "-id"]
        indexes = [
            models.Index(fields=["state", "booked_in_on"]),
            models.Index(fields=["handed_over_on"]),
            models.Index(fields=["customer", "booked_in_on"], name="job_of_customer"),
            models.Index(fields=["device", "booked_in_on"], name="job_of_device"),
            models.Index(Upper("number"), name="job_number_in_any_case"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=list(states.LABELS)), name="job_state_is_known"
            ),
            models.CheckConstraint(
                condition=Q(old_parts__in=["", "returned", "kept"]),
                name="job_old_parts_is_known",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["", *states.JOB_OUTCOMES]),
                name="job_outcome_is_known",
            ),
            models.CheckConstraint(
                condition=Q(state=states.HANDED_OVER, handed_over_on__isnull=False)
                | (~Q(state=states.HANDED_OVER) & Q(handed_over_on=None)),
                name="job_handed_over_has_its_day",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[states.READY, states.HANDED_OVER])
                | ~Q(outcome=""),
                name="job_finished_has_outcome",
            ),
            models.CheckConstraint(
                condition=Q(handed_over_on=None)
                | Q(handed_over_on__gte=F("booked_in_on")),
                name="job_handed_over_after_booked_in",
            ),
            models.CheckConstraint(
                condition=Q(verified_failures=None, verified_tries=None)
                | Q(verified_tries__gte=1, verified_failures__lte=F("verified_tries")),
                name="job_verified_k_of_m",
            ),
            models.CheckConstraint(
                condition=Q(soak_failures=None, soak_hours=None)
                | Q(soak_failures__gte=1, soak_hours__gt=0),
                name="job_soak_failures_in_hours",
            ),
            models.CheckConstraint(
                condition=Q(counter_failures=None, counter_tries=None)
                | Q(counter_tries__gte=1, counter_failures__lte=F("counter_tries")),
                name="job_counter_k_of_m",
            ),
            models.CheckConstraint(
                condition=Q(agreed_diagnosis_fee=None) | Q(agreed_diagnosis_fee__gte=0),
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
            number = give_job_number(on)
            if not Job.objects.filter(number=number).exists():
                return number

    WAITING_FIELDS = ("waiting_for", "waiting_note", "waiting_since")

    def set_waiting(self, waiting_for: str, *, note: str = "", on: date) -> None:
        """Set whom or what it waits for; it waits since `on` if that is new."""
        if not waiting_for:
            self.waiting_since = None
        elif (waiting_for, note) != (self.waiting_for, self.waiting_note):
            self.waiting_since = on
        self.waiting_for, self.waiting_note = waiting_for, note

    @property
    def label_code(self) -> str:
        return label_code(self.number)

    @property
    def is_open(self) -> bool:
        return self.state != states.HANDED_OVER

    @property
    def decision(self):
        """The `ReturnAssessment` in force: the last one about this job, or None."""
        decisions = list(self.decisions.all())
        return decisions[-1] if decisions else None

    @property
    def is_verified(self) -> bool:
        """Whether the bench has looked at it: tried the complaint, or found a fault."""
        return (
            bool(self.verified_tries or self.soak_hours or self.bench_notes)
            or self.symptoms.exists()
            or self.repairs.exists()
        )

    @property
    def is_warranty_repair(self) -> bool:
        """Whether the visit is a comeback in warranty; see `covered_repairs`."""
        decision = self.decision
        return decision is not None and decision.is_warranty_repair

    @property
    def covered_repairs(self) -> set[int]:
        """The numbers of its repairs that are free: under the earlier repair's
        warranty. A new fault found on the same visit is charged."""
        repairs, decision = list(self.repairs.all()), self.decision
        by = decision.covered_fault if decision else None
        faults = [repair.fault_id for repair in repairs]
        is_covered = warranty.covered(faults, by=by)
        return {
            repair.pk
            for repair, covered in zip(repairs, is_covered, strict=True)
            if covered
        }

    @property
    def chargeable_repairs(self) -> list:
        """Its repairs that are to be fixed and that no warranty covers."""
        covered = self.covered_repairs
        return [
            repair
            for repair in self.repairs.all()
            if not repair.is_not_repaired and repair.pk not in covered
        ]

    def may_work_on(self, repair=None) -> bool:
        """Whether work may be recorded now, on `repair` or on any.

        At the bench; and while the customer decides about a new fault, what the
        warranty covers may begin.
        """
        if self.state != states.QUOTED:
            return self.state in states.AT_THE_BENCH
        covered = self.covered_repairs
        return bool(covered) if repair is None else repair.pk in covered

    @property
    def needs_no_quote(self) -> bool:
        """Whether all of it is done under warranty."""
        return self.is_warranty_repair and not self.chargeable_repairs

    @property
    def was_approved(self) -> bool:
        """Whether the last yes, by quote or by warranty, is still in force."""
        answers = [
            transition.to_state
            for transition in self.transitions.all()
            if transition.to_state in states.ANSWERS
            and transition.from_state not in states.IN_FINAL_TEST
        ]
        return answers[-1:] == [states.APPROVED]

    @property
    def approved_warranty_repair(self) -> bool:
        """Whether the yes in force is the shop's own promise, not the customer's."""
        approved_from = [
            transition.from_state
            for transition in self.transitions.all()
            if transition.to_state == states.APPROVED
            and transition.from_state in states.BEFORE_YES
        ]
        return self.was_approved and approved_from[-1:] == [states.DIAGNOSED]


class JobTransition(models.Model):
    """One change of state: from, to, who, when, why. Never changed."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="transitions")
    from_state = models.CharField(max_length=12, choices=states.CHOICES, blank=True)
    to_state = models.CharField(max_length=12, choices=states.CHOICES)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    why = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["id"]
        verbose_name = "change of status"
        verbose_name_plural = "changes of status"

    def __str__(self):
        return f"{self.job}: {self.from_state or 'new'} to {self.to_state}"


class AccessCode(Recorded):
    """What opens the device, encrypted, until it leaves."""

    job = models.OneToOneField(
        Job, on_delete=models.CASCADE, related_name="access_code"
    )
    ciphertext = models.BinaryField(editable=False)

    # To whom it was shown, and why, is an event of its own.
    secret = frozenset({"ciphertext"})
    belongs_to = "job"
    label_relations = ("job",)

    def __str__(self):
        return f"access code of {self.job}"
