"""Photos of a job, their files, and the links by which a phone adds them."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.staff.link_tokens import hash_of

STAFF = settings.AUTH_USER_MODEL


class PhotoLinkQuerySet(models.QuerySet):
    def working(self, at: datetime):
        """Return the links that are valid at that moment."""
        return self.filter(revoked_at=None, works_until__gte=at)

    def opened_by(self, token: str, *, at: datetime):
        """Return the valid link of `token`; none if unknown, expired or revoked."""
        return self.working(at).filter(token_hash=hash_of(token))


class PhotoLink(models.Model):
    """A link that adds photos to one job and shows those that it added, no others.

    The token itself is not stored.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="photo_links")
    token_hash = models.CharField(max_length=64, unique=True, editable=False)
    works_until = models.DateTimeField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, editable=False)
    revoked_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )

    objects = PhotoLinkQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(token_hash=""), name="photo_link_has_token"
            ),
        ]

    def __str__(self):
        return f"Photo link of {self.job}"


class PhotoQuerySet(RecordedQuerySet):
    def shown(self):
        """Those that were not removed."""
        return self.filter(removed_at=None)

    def counts_of(self, job):
        """Return how many are shown of the job of an outer query, for a subquery."""
        found = self.shown().filter(job=job).order_by().values("job")
        return found.annotate(count=models.Count("pk")).values("count")

    def for_customer(self):
        """Those on the page behind the customer's link."""
        return self.shown().filter(for_customer=True)


class Photo(Recorded):
    """A photo of a job; the record of a removed one stays, without its file."""

    class Stage(models.TextChoices):
        ARRIVAL = "arrival", "on arrival"
        WORK = "work", "during work"
        DONE = "done", "after repair"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="photos")
    link = models.ForeignKey(
        PhotoLink, null=True, on_delete=models.PROTECT, related_name="photos"
    )
    added_at = models.DateTimeField()
    by = models.ForeignKey(STAFF, null=True, on_delete=models.PROTECT, related_name="+")
    stage = models.CharField(max_length=10, choices=Stage)
    caption = models.CharField(max_length=200, blank=True)
    for_customer = models.BooleanField(
        "Show to the customer",
        default=False,
        help_text="With its caption, on the page behind the customer’s link.",
    )
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    size = models.PositiveIntegerField("bytes")
    thumbnail_size = models.PositiveIntegerField("bytes of the thumbnail")
    sha256 = models.CharField("SHA-256", max_length=64)
    removed_at = models.DateTimeField(null=True)
    removed_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    removed_why = models.CharField("reason", max_length=200, blank=True)

    unrecorded = frozenset({"link", "width", "height", "size", "thumbnail_size"})
    belongs_to = "job"
    label_relations = ("job",)

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(width__gte=1, height__gte=1, size__gte=1),
                name="photo_is_not_empty",
            ),
            models.CheckConstraint(
                condition=Q(removed_at=None) | ~Q(removed_why=""),
                name="photo_removed_with_reason",
            ),
            models.UniqueConstraint(
                fields=["job", "sha256"],
                condition=Q(removed_at=None),
                name="photo_once_on_a_job",
            ),
        ]

    def __str__(self):
        return f"photo {self.pk} of {self.job}"

    def get_absolute_url(self):
        return reverse("photos:photo", args=[self.pk])

    @property
    def alt(self) -> str:
        """Return what stands in the place of the picture."""
        return self.caption or f"Photo {self.get_stage_display()}"


class PhotoFile(models.Model):
    """The JPEG files of a photo, apart from it, so that no list loads them."""

    photo = models.OneToOneField(
        Photo, on_delete=models.CASCADE, primary_key=True, related_name="file"
    )
    # First, as SQLite finds the end of a row only by way of what stands before it.
    thumbnail = models.BinaryField()
    picture = models.BinaryField()

    class Meta:
        verbose_name = "picture"

    def __str__(self):
        return f"File of {self.photo}"


def usual_stage(job: Job) -> Photo.Stage:
    """Return the stage that a photo taken now most likely shows."""
    if job.state in (states.EXPECTED, states.BOOKED_IN):
        return Photo.Stage.ARRIVAL
    if job.state in (*states.BEFORE_YES, states.APPROVED):
        return Photo.Stage.WORK
    return Photo.Stage.DONE
