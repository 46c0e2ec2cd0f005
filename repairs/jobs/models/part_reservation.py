"""Parts that are kept for a job, so that nobody else takes them unnoticed."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from repairs.jobs import states
from repairs.jobs.models.job import Job
from repairs.stock.models import Part
from shopdesk.recording.recorded import Recorded, RecordedQuerySet


class PartReservationQuerySet(RecordedQuerySet):
    def active(self):
        """Those still to be used, on jobs that are in work.

        So a job that is declined, revised or closed releases its parts, and one that is
        reopened with the customer's approval in force has them again.
        """
        return self.filter(remaining__gt=0, job__state__in=states.IN_WORK)

    def for_list(self):
        """With all that a list shows, those waiting longest first."""
        return self.select_related("part", "job").order_by("reserved_at", "id")


class PartReservation(Recorded):
    """So many of a part for a job: by the accepted quote, or reserved at the bench."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="reservations")
    part = models.ForeignKey(
        Part, on_delete=models.PROTECT, related_name="reservations"
    )
    quantity = models.PositiveIntegerField()
    # What the job has not used of it yet.
    remaining = models.PositiveIntegerField(editable=False)
    is_quoted = models.BooleanField("by the quote", default=False, editable=False)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    reserved_at = models.DateTimeField()

    # What remains follows from the parts used.
    unrecorded = frozenset({"remaining"})
    belongs_to = "job"
    label_relations = ("part",)

    objects = PartReservationQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(
                fields=["part"],
                condition=Q(remaining__gt=0),
                name="reservation_of_part",
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "part"], name="reservation_once_a_job"
            ),
            models.CheckConstraint(
                condition=Q(quantity__gte=1, remaining__lte=F("quantity")),
                name="reservation_quantity",
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.part}"

    def get_absolute_url(self):
        return reverse("bench:job", args=[self.job_id])
