"""What customers signed, and how often an address asked for their pages."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import F, Q

from billing.customer_page.knocks import Limit, seconds_left
from billing.quotes.models import Quote


class Signature(models.Model):
    """What the customer drew with their yes. Only added."""

    quote = models.OneToOneField(
        Quote, on_delete=models.PROTECT, related_name="signature"
    )
    ink = models.TextField("the lines, as an SVG path", max_length=8000)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(ink=""), name="signature_is_drawn")
        ]

    def __str__(self):
        return f"Signature on {self.quote}"


class KnockQuerySet(models.QuerySet):
    def too_many(self, key: str, *, limit: Limit, at: datetime) -> int:
        """Count one more knock; the seconds to wait where it was one too many, else 0.

        Kept in the database, so that it holds for all workers and after a restart. Each
        change is judged by the database: two at once are counted as two. Who is over
        the limit is only read, so that no flood makes the database write.
        """
        begun = at - timedelta(seconds=limit.seconds)
        mine = self.filter(key=key)
        over = mine.filter(since__gt=begun, count__gt=limit.most).first()
        if over is not None:
            return seconds_left(since=over.since, at=at, limit=limit)
        while not mine.filter(since__gt=begun).update(count=F("count") + 1):
            if not mine.filter(since__lte=begun).update(since=at, count=1):
                # Whoever is quicker makes the row; the next round counts.
                self.bulk_create(
                    [RequestCount(key=key, since=at)], ignore_conflicts=True
                )
                self.filter(since__lt=at - timedelta(hours=1)).delete()
                continue
            break
        knock = mine.get()
        if knock.count <= limit.most:
            return 0
        return seconds_left(since=knock.since, at=at, limit=limit)


class RequestCount(models.Model):
    """How often somebody knocked since a moment. Whose it is can't be read from it."""

    key = models.CharField(max_length=64, unique=True)
    since = models.DateTimeField(db_index=True)
    count = models.PositiveIntegerField(default=0)

    objects = KnockQuerySet.as_manager()

    def __str__(self):
        return f"{self.count} since {self.since}"
