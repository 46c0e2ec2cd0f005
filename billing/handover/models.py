"""Records of a handover: who collected the device, the parcel, the certificate."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext, gettext_lazy

from billing.handover import shipping
from repairs.jobs.models import Job
from shopdesk.papers.models import StoredPdf

STAFF = settings.AUTH_USER_MODEL
BATTERY = [(value, gettext_lazy(label)) for value, label in shipping.BATTERY]


class Collection(models.Model):
    """Who collected the device. Never changed."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="collected")
    to = models.CharField(gettext_lazy("who took it"), max_length=120)
    # The drawn signature as an SVG path.
    signature = models.TextField(max_length=20_000, blank=True)
    at = models.DateTimeField()
    given_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(to=""), name="collected_says_who"),
        ]

    def __str__(self):
        return self.to


class Parcel(StoredPdf):
    """A device sent by carrier. Only its parcel number may be added later, once."""

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="parcel")
    to = models.TextField(gettext_lazy("name and address"), max_length=600)
    carrier = models.CharField(max_length=60)
    number = models.CharField(gettext_lazy("parcel number"), max_length=60, blank=True)
    grams = models.PositiveIntegerField(
        gettext_lazy("weight in grams"), null=True, blank=True
    )
    battery = models.CharField(max_length=5, choices=BATTERY)
    sent_on = models.DateField()
    sent_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(to="") & ~Q(carrier="") & ~Q(pdf_sha256=""),
                name="parcel_says_where_and_how",
            ),
            models.CheckConstraint(
                condition=Q(battery__in=[key for key, _ in shipping.BATTERY]),
                name="parcel_battery_was_seen_to",
            ),
        ]

    def __str__(self):
        return f"{self.carrier} {self.number}".strip()

    def add_number(self, number: str) -> bool:
        """Store the carrier's number; return False if there is one already."""
        return bool(Parcel.objects.filter(pk=self.pk, number="").update(number=number))


class WarrantyCertificate(StoredPdf):
    """The warranty certificate as issued at handover. Never changed."""

    job = models.OneToOneField(
        Job, on_delete=models.PROTECT, related_name="warranty_certificate"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(pdf_sha256=""), name="warranty_certificate_is_kept"
            ),
        ]

    def __str__(self):
        return gettext("Warranty certificate {number}").format(number=self.job_id)
