"""Repairs of past jobs that are not coded yet."""

from decimal import Decimal

from django.db import models
from django.db.models import Q

from repairs.faults.models import Fault, Fix
from repairs.jobs import states
from repairs.jobs.models.job import Job
from shopdesk.fields import MoneyField
from shopdesk.recording.recorded import Recorded, RecordedQuerySet


class UncodedRepair(Recorded):
    """A repair of a past job in the words of the shop's own list.

    It counts nowhere until somebody says which fault and fix of the fault book it was;
    then a `Repair` takes its place.
    """

    job = models.ForeignKey(
        Job, on_delete=models.CASCADE, related_name="uncoded_repairs"
    )
    fault_text = models.TextField(max_length=2000, blank=True)
    fix_text = models.TextField(max_length=2000, blank=True)
    # What of it is known already.
    fault = models.ForeignKey(
        Fault, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    outcome = models.CharField(
        max_length=14, choices=list(states.OUTCOMES.items()), blank=True, default=""
    )
    minutes = models.PositiveIntegerField(default=0)
    charged = MoneyField(null=True, blank=True)
    parts_cost = MoneyField(default=Decimal(0))

    costs = frozenset({"parts_cost"})
    belongs_to = "job"
    label_relations = ("job",)

    objects = RecordedQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = "repair not coded yet"
        verbose_name_plural = "repairs not coded yet"
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome__in=["", *states.OUTCOMES]),
                name="uncoded_outcome_is_known",
            ),
            models.CheckConstraint(
                condition=(Q(charged=None) | Q(charged__gte=0)) & Q(parts_cost__gte=0),
                name="uncoded_amounts_not_negative",
            ),
        ]

    def __str__(self):
        return self.fault_text or self.fix_text or str(self.job)
