"""A customer's link to the page of their job; only the hash of its token is stored."""

from datetime import date, datetime

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext, gettext_lazy

from repairs.jobs.models import Job
from shopdesk.staff.link_tokens import hash_of

STAFF = settings.AUTH_USER_MODEL


class LinkQuerySet(models.QuerySet):
    def working(self, on: date):
        """Return the links that are valid on the day `on`."""
        return self.filter(revoked_at=None, works_until__gte=on)

    def opened_by(self, token: str, *, on: date):
        """Return the valid link of `token`; none if unknown, expired or revoked."""
        return self.working(on).filter(token_hash=hash_of(token))


class Link(models.Model):
    """A customer's link to one job. The token itself is not stored."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="links")
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
    views = models.PositiveIntegerField(
        gettext_lazy("times opened"), default=0, editable=False
    )
    viewed_at = models.DateTimeField(
        gettext_lazy("last opened"), null=True, editable=False
    )

    objects = LinkQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(token_hash=""), name="link_has_token"),
        ]

    def __str__(self):
        return gettext("Link of {job}").format(job=self.job)

    def status(self, on: date) -> str:
        if self.revoked_at:
            return gettext("revoked")
        return gettext("expired") if on > self.works_until else gettext("valid")

    def count_view(self, *, at: datetime) -> None:
        """Count one visit; reading changes nothing else."""
        Link.objects.filter(pk=self.pk).update(views=F("views") + 1, viewed_at=at)
