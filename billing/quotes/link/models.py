"""The customer's own way in: links, what was signed, and how often somebody knocks."""

from datetime import date, datetime, timedelta
from hashlib import sha256

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from billing.quotes.link.knocks import Limit, seconds_left
from billing.quotes.models import Quote
from repairs.jobs.models import Job

STAFF = settings.AUTH_USER_MODEL


def hash_of(token: str) -> str:
    """What is kept of a token. It has 256 random bits: a plain hash is enough."""
    return sha256(token.encode(errors="replace")).hexdigest()


class LinkQuerySet(models.QuerySet):
    def working(self, on: date):
        """Those that open something on the day `on`."""
        return self.filter(revoked_at=None, works_until__gte=on)

    def opened_by(self, token: str, *, purpose: str, on: date):
        """The link that `token` opens, if any: unknown, expired and revoked alike."""
        return self.working(on).filter(token_hash=hash_of(token), purpose=purpose)


class Link(models.Model):
    """A way for the customer to one job. The token itself is kept nowhere."""

    class Purpose(models.TextChoices):
        FOLLOW = "follow", "read and answer the quote, see where the device is"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="links")
    purpose = models.CharField(max_length=8, choices=Purpose, default=Purpose.FOLLOW)
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    works_until = models.DateField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, editable=False)
    revoked_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    views = models.PositiveIntegerField("times opened", default=0, editable=False)
    viewed_at = models.DateTimeField("last opened", null=True, editable=False)

    objects = LinkQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(purpose="") & ~Q(token_hash=""), name="link_is_whole"
            ),
        ]

    def __str__(self):
        return f"Link of {self.job}"

    def standing(self, on: date) -> str:
        if self.revoked_at:
            return "revoked"
        return "expired" if on > self.works_until else "works"

    def count_view(self, *, at: datetime) -> None:
        """The only thing that reading changes."""
        Link.objects.filter(pk=self.pk).update(views=F("views") + 1, viewed_at=at)


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
                self.bulk_create([Knock(key=key, since=at)], ignore_conflicts=True)
                self.filter(since__lt=at - timedelta(hours=1)).delete()
                continue
            break
        knock = mine.get()
        if knock.count <= limit.most:
            return 0
        return seconds_left(since=knock.since, at=at, limit=limit)


class Knock(models.Model):
    """How often somebody knocked since a moment. Whose it is can't be read from it."""

    key = models.CharField(max_length=64, unique=True)
    since = models.DateTimeField(db_index=True)
    count = models.PositiveIntegerField(default=0)

    objects = KnockQuerySet.as_manager()

    def __str__(self):
        return f"{self.count} since {self.since}"
