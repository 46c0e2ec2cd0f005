"""Parts that went into a repair without having been in stock."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from repairs.jobs.models.repair import Repair
from repairs.stock.models import Part
from shopdesk.recording.recorded import Recorded


class UnstockedPart(Recorded):
    """A part that the customer supplied, or that was taken from another device.

    It moves no stock, costs nothing and belongs to no delivery.
    """

    class Source(models.TextChoices):
        CUSTOMER = "customer", "supplied by the customer"
        SALVAGED = "salvaged", "salvaged from another device"

    repair = models.ForeignKey(
        Repair, on_delete=models.CASCADE, related_name="unstocked_parts"
    )
    # Where it is one of ours by number.
    part = models.ForeignKey(
        Part, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    name = models.CharField(max_length=120)
    source = models.CharField(max_length=8, choices=Source)
    quantity = models.PositiveIntegerField(default=1)
    note = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField()

    belongs_to = "repair__job"

    class Meta:
        ordering = ["id"]
        verbose_name = "part not from stock"
        verbose_name_plural = "parts not from stock"
        constraints = [
            models.CheckConstraint(
                condition=Q(source__in=["customer", "salvaged"])
                & Q(quantity__gte=1)
                & ~Q(name=""),
                name="unstocked_part_is_named",
            ),
        ]

    def __str__(self):
        return f"{self.quantity} × {self.name}, {self.get_source_display()}"
