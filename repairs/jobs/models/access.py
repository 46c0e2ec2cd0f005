"""What opens a device, for as long as the bench needs it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from repairs.jobs.models.job import Job

STAFF = settings.AUTH_USER_MODEL


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
