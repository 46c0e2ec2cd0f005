"""When the shop was last backed up."""

from django.db import models


class VerifiedBackup(models.Model):
    """A backup file that was read completely after it was written."""

    file = models.CharField(max_length=500)
    taken_at = models.DateTimeField()
    verified_at = models.DateTimeField()
    rows = models.PositiveBigIntegerField()
    size = models.PositiveBigIntegerField("size in bytes")

    class Meta:
        ordering = ["taken_at"]
        get_latest_by = "taken_at"

    def __str__(self):
        return f"{self.file}, taken {self.taken_at:%Y-%m-%d %H:%M}"
