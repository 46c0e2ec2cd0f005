"""What is written down at the bench: minutes, parts, readings, final tests."""

from datetime import datetime
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from repairs.faults.models import Check
from repairs.jobs import bench_notation, states
from repairs.jobs.models.job import Job, JobTransition
from repairs.jobs.models.repair import Repair
from repairs.stock.models import Delivery, Part
from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.recording.recorded import Recorded, RecordedQuerySet

STAFF = settings.AUTH_USER_MODEL


class LabourQuerySet(RecordedQuerySet):
    def running(self):
        """Timers that were started and not stopped."""
        return self.filter(started_at__isnull=False, ended_at=None)


class Labour(Recorded):
    """Minutes at the bench, by timer or by hand."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="labour")
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.CASCADE, related_name="labour"
    )
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    booked_at = models.DateTimeField(default=timezone.now, editable=False)
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    minutes = models.PositiveIntegerField(default=0)
    is_billable = models.BooleanField("billable", default=True)
    note = models.CharField(max_length=200, blank=True)

    belongs_to = "job"
    label_relations = ("job",)

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


class PartUsed(Recorded):
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

    costs = frozenset({"cost"})
    belongs_to = "repair__job"
    label_relations = ("part",)

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


class Reading(Recorded):
    """A measurement with what was expected; its amounts are in `unit`, such as kΩ."""

    class Stage(models.TextChoices):
        BEFORE = "before", "before the repair"
        AFTER = "after", "after the repair"

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="readings")
    test_point = models.CharField(max_length=120)
    # Blank where it was not asked yet, in version 1.0.
    stage = models.CharField(max_length=6, choices=Stage, blank=True, default="")
    relation = models.CharField(
        max_length=2,
        choices=list(bench_notation.RELATIONS.items()),
        blank=True,
        default=bench_notation.EXACT,
    )
    value = FixedDecimalField()
    unit = models.CharField(max_length=12, blank=True)
    at_hertz = FixedDecimalField("at frequency", null=True, blank=True)
    is_diode = models.BooleanField("diode mode", default=False)
    low = FixedDecimalField("expected from", null=True, blank=True)
    high = FixedDecimalField("expected to", null=True, blank=True)
    expects_open = models.BooleanField("expected open", default=False)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    read_at = models.DateTimeField()

    belongs_to = "job"
    measured_fields = (
        *("relation", "value", "unit", "at_hertz", "is_diode"),
        *("low", "high", "expects_open"),
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low=None) | Q(high=None) | Q(low__lte=F("high")),
                name="reading_low_below_high",
            ),
            models.CheckConstraint(
                condition=Q(relation__in=list(bench_notation.RELATIONS)),
                name="reading_relation_is_known",
            ),
        ]

    def __str__(self):
        return f"{self.test_point}: {self.value_text}"

    @property
    def _stored(self) -> bench_notation.Stored:
        return bench_notation.Stored(self.value, self.unit, self.low, self.high)

    @property
    def measured(self) -> bench_notation.Measured:
        return bench_notation.from_stored(
            self._stored,
            relation=self.relation,
            at_hertz=self.at_hertz,
            is_diode=self.is_diode,
        )

    @property
    def expected(self) -> bench_notation.Expected:
        return bench_notation.expected_from_stored(
            self._stored, is_open=self.expects_open
        )

    @property
    def value_text(self) -> str:
        return bench_notation.format_reading(self.measured)

    @property
    def expected_text(self) -> str:
        return bench_notation.format_expected(self.expected)

    @property
    def passes(self) -> bool | None:
        """Whether the value is as expected; None if that cannot be told."""
        return bench_notation.passes(self.measured, self.expected)


class CheckResult(Recorded):
    """What a bench check of the fault book showed on a job."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="check_results")
    check_made = models.ForeignKey(
        Check,
        on_delete=models.PROTECT,
        related_name="results_found",
        verbose_name="check",
    )
    result = models.CharField(max_length=120)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    belongs_to = "job"
    label_relations = ("check_made",)

    class Meta:
        ordering = ["id"]
        verbose_name = "result of a check"
        verbose_name_plural = "results of checks"
        constraints = [
            models.UniqueConstraint(
                fields=["job", "check_made"], name="check_result_once_a_job"
            ),
            models.CheckConstraint(
                condition=~Q(result=""), name="check_result_is_not_empty"
            ),
        ]

    def __str__(self):
        return f"{self.check_made}: {self.result}"


class FinalTestManager(models.Manager.from_queryset(RecordedQuerySet)):
    def get_queryset(self):
        """Each with `is_valid`: whether the job did not go back to repair after it."""
        back = JobTransition.objects.filter(
            job=OuterRef("repair__job"),
            from_state__in=states.TESTED_BEFORE,
            to_state__in=states.BACK_TO,
            made_at__gte=OuterRef("run_at"),
        )
        return super().get_queryset().annotate(is_valid=~Exists(back))


class FinalTest(Recorded):
    """Tries after the repair, or hours of a soak test, and how often it failed."""

    repair = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="final_tests"
    )
    tries = models.PositiveSmallIntegerField()
    # Of a soak test, which has no tries.
    hours = FixedDecimalField(null=True, blank=True)
    needed_hours = FixedDecimalField(null=True, editable=False)
    failed = models.PositiveSmallIntegerField(default=0)
    needed = models.PositiveSmallIntegerField(editable=False)
    # Under the conditions in which it failed at the bench.
    reproduces = models.BooleanField("same conditions", default=False)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    run_at = models.DateTimeField()

    belongs_to = "repair__job"

    objects = FinalTestManager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(needed__gte=1)
                & (
                    Q(hours=None, tries__gte=1, failed__lte=F("tries"))
                    | Q(hours__gt=0, tries=0)
                ),
                name="final_test_counts",
            ),
        ]

    def __str__(self):
        if self.hours is not None:
            return f"{self.failed} failures in {self.hours:.4g} hours"
        return f"{self.failed} of {self.tries} failed"
