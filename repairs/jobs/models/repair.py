"""The repair: the pair of a fault and a fix that is counted."""

from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.utils.functional import cached_property
from django.utils.translation import ngettext

from repairs.faults import fix_types
from repairs.faults.models import Fault, Fix, UsualPart
from repairs.jobs import final_test, states, warranty
from repairs.jobs.models.job import Job
from shopdesk.fields import MoneyField
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL


class RepairQuerySet(RecordedQuerySet):
    def to_be_fixed(self):
        """Those that are, or are meant to be, fixed: not given up."""
        return self.filter(outcome__in=["", states.FIXED])

    def with_parts(self):
        """With `needs_parts` and `has_parts`, so that no repair asks for them."""
        usual = UsualPart.objects.filter(fix=OuterRef("fix"))
        field = self.model._meta.get_field
        of_repair = {"repair": OuterRef("pk")}
        used = field("parts_used").related_model.objects.filter(**of_repair)
        other = field("unstocked_parts").related_model.objects.filter(**of_repair)
        return self.annotate(
            needs_parts=Exists(usual),
            has_parts=Exists(used) | Exists(other),
        )

    def to_ask_about(self, *, on: date):
        """Stopgaps of which the customer is to be asked by that day how they hold.

        One that came back is not asked about: the device is, or was, here again.
        """
        due = self.filter(ask_on__lte=on, handed_over_on__isnull=False)
        due = due.filter(outcome=states.FIXED, fix_type=fix_types.STOPGAP)
        due = due.filter(later_assessments=None)
        return due.select_related("job__customer", "job__device__model", "fault", "fix")

    def before(self, job: Job):
        """Those of the device that were handed over before the job came in."""
        return self.filter(
            job__device=job.device_id, handed_over_on__lte=job.booked_in_on
        ).exclude(job=job)

    def for_list(self, *, on: date) -> "list[Repair]":
        """With all that a list shows, the latest first, judged on the day `on`.

        Each gets `still_in_warranty` and `days_since`, the days since handover.
        """
        found = self.select_related("job", "fault", "fix")
        repairs = list(found.order_by("-handed_over_on", "-id"))
        for repair in repairs:
            repair.days_since = (on - repair.handed_over_on).days
            repair.set_warranty_status(on=on)
        return repairs


class Repair(Recorded):
    """One fix done for one fault on one job: the pair that is counted."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="repairs")
    fault = models.ForeignKey(Fault, on_delete=models.PROTECT, related_name="repairs")
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="repairs"
    )
    by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    fix_type = models.CharField(
        max_length=7, choices=fix_types.CHOICES, blank=True, default=""
    )
    outcome = models.CharField(
        max_length=14, choices=list(states.OUTCOMES.items()), blank=True, default=""
    )
    # What really failed and why; the fault is what the fault book calls it.
    cause = models.CharField(max_length=300, blank=True)
    recurs_if = models.CharField("what would bring it back", max_length=300, blank=True)
    # How long a stopgap is expected to last, and the day to ask how it holds.
    expected_days = models.PositiveSmallIntegerField(
        "expected to last", null=True, blank=True
    )
    ask_on = models.DateField("ask how it holds on", null=True, blank=True)
    customer_note = models.TextField(
        "note for the customer", max_length=1000, blank=True
    )
    note = models.TextField("note for the shop", max_length=4000, blank=True)
    # The owner's number of passes in the final test, in place of the calculated one.
    tries_required = models.PositiveSmallIntegerField(null=True, blank=True)
    tries_required_why = models.CharField(max_length=300, blank=True)
    no_part_needed = models.BooleanField("no part was needed", default=False)
    # Booked minutes are rows of Labour; a history file knows only the sum.
    minutes_from_history = models.PositiveIntegerField(default=0, editable=False)
    # The file's cost of parts beyond what its parts cost one by one.
    parts_cost_from_history = MoneyField(default=Decimal(0), editable=False)
    imported_text = models.TextField(blank=True, default="", editable=False)
    charged = MoneyField(null=True, blank=True, editable=False)
    # What it cost the shop, fixed at handing back: labour at the cost rate, and parts.
    cost = MoneyField(null=True, blank=True, editable=False)
    # What the accepted price includes for comebacks.
    comeback_allowance = MoneyField(null=True, blank=True)
    # The day of its job; the database refuses another. A million repairs are counted
    # without asking a million jobs.
    handed_over_on = models.DateField(null=True, blank=True, editable=False)
    warranty_days = models.PositiveSmallIntegerField(null=True, blank=True)
    warranty_until = models.DateField(null=True, blank=True, editable=False)

    costs = frozenset({"cost", "parts_cost_from_history", "comeback_allowance"})
    belongs_to = "job"
    label_relations = ("fault", "fix")

    objects = RepairQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            # All that the comeback table asks of a repair, in the order it asks.
            models.Index(
                fields=["outcome", "fault", "fix", "fix_type", "handed_over_on"],
                name="repair_pair_by_day",
            ),
            models.Index(
                fields=["ask_on"],
                condition=Q(ask_on__isnull=False),
                name="repair_to_ask_about",
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(fix_type__in=["", *fix_types.LABELS]),
                name="repair_fix_type_is_known",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=["", *states.OUTCOMES]),
                name="repair_outcome_is_known",
            ),
            models.CheckConstraint(
                condition=~Q(outcome=states.FIXED)
                | (Q(fix__isnull=False) & ~Q(fix_type="")),
                name="repair_fixed_has_fix_and_kind",
            ),
            models.CheckConstraint(
                condition=(Q(charged=None) | Q(charged__gte=0))
                & (Q(cost=None) | Q(cost__gte=0))
                & (Q(comeback_allowance=None) | Q(comeback_allowance__gte=0)),
                name="repair_amounts_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(expected_days=None) | Q(expected_days__gte=1),
                name="repair_expected_to_last",
            ),
            models.CheckConstraint(
                condition=Q(tries_required=None) | Q(tries_required__gte=1),
                name="repair_tries_required",
            ),
        ]

    def __str__(self):
        return f"{self.fault.code} / {self.fix.code if self.fix else 'no fix yet'}"

    @property
    def is_not_repaired(self) -> bool:
        """Whether this fault is not repaired on this job."""
        return self.outcome in states.NOT_REPAIRED

    @property
    def is_stopgap(self) -> bool:
        """Whether it was fixed for now only."""
        return self.outcome == states.FIXED and self.fix_type == fix_types.STOPGAP

    @property
    def expected_weeks(self) -> int:
        """The weeks that it is expected to last, 0 if that is said in days."""
        weeks, days = divmod(self.expected_days or 0, 7)
        return 0 if days or weeks < 2 else weeks

    @property
    def life_text(self) -> str:
        """How long it is expected to last, in words of the active language."""
        if weeks := self.expected_weeks:
            return ngettext("about {n} week", "about {n} weeks", weeks).format(n=weeks)
        days = self.expected_days or 0
        return ngettext("about {n} day", "about {n} days", days).format(n=days)

    @property
    def minutes(self) -> int:
        """Minutes of work on this repair, booked or from a history file."""
        return sum(
            (work.minutes for work in self.labour.all()), self.minutes_from_history
        )

    def failures_before(self, *, reproduces: bool = False) -> final_test.Counts:
        """How often it failed in how many tries before the repair.

        Of counter and bench, the weaker evidence counts; a final test that `reproduces`
        the conditions in which it failed at the bench is held against those.
        """
        job = self.job
        bench = job.verified_failures or 0, job.verified_tries or 0
        counter = job.counter_failures or 0, job.counter_tries or 0
        seen = [bench] if reproduces and bench[0] else [bench, counter]
        return final_test.weaker_evidence(*seen)

    def passes_needed(self, shop: Shop, *, reproduces: bool = False) -> int:
        """Return the passes that make the final test mean something, or the owner's."""
        if self.tries_required:
            return self.tries_required
        before = self.failures_before(reproduces=reproduces)
        return final_test.tries_needed(*before, risk=float(shop.final_test_risk))

    def hours_needed(self, shop: Shop) -> Decimal | None:
        """Return the hours that a soak test takes; None without one before."""
        job = self.job
        if job.soak_hours is None:
            return None
        before = job.soak_failures, float(job.soak_hours)
        hours = final_test.hours_needed(*before, risk=float(shop.final_test_risk))
        return Decimal(f"{hours:.1f}")

    @property
    def valid_tests(self) -> list:
        """The final tests that count: made since the job last went back to repair.

        None of them has failures: a failure sends the job back.
        """
        return [test for test in self.final_tests.all() if test.is_valid]

    @cached_property
    def needs_parts(self) -> bool:
        """Whether its fix usually needs parts."""
        return self.fix is not None and self.fix.needs_parts

    @cached_property
    def has_parts(self) -> bool:
        return self.parts_used.exists() or self.unstocked_parts.exists()

    @property
    def is_tested(self) -> bool:
        return final_test.is_passed(self.valid_tests)

    def promise(self, *, on: date, shop: Shop, decision) -> warranty.Promise:
        """Return the warranty it gets if it is handed over on that day.

        `decision` is the one whose warranty covers the repair, or None.
        """
        days = self.warranty_days
        if days is None and self.fix is not None:
            days = self.fix.warranty_days
        if days is None:
            days = shop.warranty_days(self.fix_type)
        return warranty.promise(
            on,
            days=days,
            continued_until=decision.continued_until if decision else None,
            min_days=shop.warranty_days_minimum,
        )

    def set_warranty_status(self, *, on: date) -> None:
        """Set `still_in_warranty`: whether its warranty is in force on that day."""
        self.still_in_warranty = warranty.is_in_warranty(on, until=self.warranty_until)
