"""Forms that were handled, so that none is handled twice."""

from datetime import datetime, timedelta

from django.db import models

KEPT = timedelta(days=2)


class SentFormQuerySet(models.QuerySet):
    def forget_old(self, *, at: datetime) -> int:
        """Delete what nobody will send again; return how many."""
        return self.filter(sent_at__lt=at - KEPT).delete()[0]


class SentForm(models.Model):
    """A form that was handled, and the response to it.

    Only the hash of its key is stored. The response is encrypted with the key itself,
    which only the sender's page holds.
    """

    key_hash = models.CharField(max_length=64, unique=True)
    # Of the sender, the path and the entries: one key stands for one set of entries.
    content_hash = models.CharField(max_length=64)
    sent_at = models.DateTimeField(db_index=True)
    # None until the response is complete, or if there was none.
    response = models.BinaryField(null=True)

    objects = SentFormQuerySet.as_manager()

    def __str__(self):
        return f"form sent at {self.sent_at}"
