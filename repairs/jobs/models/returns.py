"""What was decided about a return."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from repairs.jobs import states
from repairs.jobs.models.job import Job
from repairs.jobs.models.repair import Repair

STAFF = settings.AUTH_USER_MODEL


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
