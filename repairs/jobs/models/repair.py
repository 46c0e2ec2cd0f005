"""The repair: the pair of a fault and a fix that is counted."""

from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import models
from django.db.models import Q, Sum

from repairs.faults import declared
from repairs.faults.models import Fault, Fix
from repairs.jobs import states, warranty
from repairs.jobs.models.job import Job
from repairs.jobs.proof import tries_needed
from shopdesk.fields import MoneyField
from shopdesk.shop.models import Shop

if TYPE_CHECKING:
    from repairs.jobs.models.bench_records import FinalTest

STAFF = settings.AUTH_USER_MODEL


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
    imported_text = models.TextField(blank=True, default="", editable=False)
    charged = MoneyField(null=True, blank=True, editable=False)
    # What it cost the shop, fixed at handing back: labour at the cost rate, and parts.
    cost = MoneyField(null=True, blank=True, editable=False)
    # What the accepted price bore for comebacks.
    reserve = MoneyField(null=True, blank=True)
    # The day of its job; the database refuses another. A million repairs are counted
    # without asking a million jobs.
    handed_over_on = models.DateField(null=True, blank=True, editable=False)
    warranty_days = models.PositiveSmallIntegerField(null=True, blank=True)
    warranty_until = models.DateField(null=True, blank=True, editable=False)

    objects = RepairQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            # All that the comeback table asks of a repair, in the order it asks.
            models.Index(
                fields=["outcome", "fault", "fix", "declared", "handed_over_on"],
                name="repair_pair_by_day",
            ),
        ]
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
                & (Q(cost=None) | Q(cost__gte=0))
                & (Q(reserve=None) | Q(reserve__gte=0)),
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
        if job.verified_tries and job.verified_failures:
            return job.verified_failures, job.verified_tries
        if job.counter_tries and job.counter_failures:
            # Not seen at the bench, but seen at the counter.
            return job.counter_failures, job.counter_tries
        return 1, 1

    @property
    def tries_needed(self) -> int:
        """Clean tries that make the proof run mean something."""
        failed, tries = self.seen_to_fail
        return tries_needed(failed, tries, risk=float(Shop.current().final_test_risk))

    @property
    def standing_runs(self) -> "list[FinalTest]":
        """The runs that count: made since the job was last taken back to the bench."""
        back = self.job.steps.filter(
            old__in=[*states.PROVING, states.READY],
            new__in=[states.APPROVED, states.DIAGNOSED],
        ).last()
        runs = self.final_tests.order_by("id")
        if back is not None:
            runs = runs.filter(run_at__gte=back.made_at)
        return list(runs)

    @property
    def last_proof(self) -> "FinalTest | None":
        return self.final_tests.order_by("-id").first()

    @property
    def clean_tries(self) -> int:
        """Clean tries in a row, over one or several runs, since it last failed."""
        clean = 0
        for run in self.standing_runs:
            clean = 0 if run.failed else clean + run.tries
        return clean

    @property
    def is_tested(self) -> bool:
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
        if not self.is_tested:
            missing.append(self.proof_sentence())
        return missing

    def cost_now(self, *, hourly_cost: Decimal) -> Decimal:
        """What the repair has cost the shop so far: minutes at the cost rate, parts.

        Minutes booked on the job as a whole are shared evenly by its repairs.
        """
        shared = Decimal(self.job.unassigned_minutes) / self.job.repairs.count()
        labour = (self.minutes + shared) * hourly_cost / 60
        return labour.quantize(Decimal("0.0001")) + sum(
            (used.cost * used.quantity for used in self.parts_used.all()),
            self.parts_cost_from_history,
        )

    def start_cover(self, *, on: date) -> None:
        """Promise the days of cover."""
        shop = Shop.current()
        decision = self.job.decision
        old = decision.earlier.warranty_until if decision and decision.earlier else None
        if decision and decision.is_in_warranty and old:
            self.warranty_until = warranty.rework_warranty_until(
                on, old_until=old, rest_days=shop.warranty_days_minimum
            )
            self.warranty_days = (self.warranty_until - on).days
        else:
            if self.warranty_days is None:
                by_fix = self.fix.warranty_days if self.fix else None
                self.warranty_days = (
                    by_fix if by_fix is not None else shop.warranty_days(self.declared)
                )
            self.warranty_until = warranty.warranty_until(on, days=self.warranty_days)
        self.save(update_fields=["warranty_days", "warranty_until"])
