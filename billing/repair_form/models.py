"""The European Repair Information Form of an option, and consent to a diagnosis."""

import json
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from billing.changes.queries import accepted_quote, agreed_total
from billing.quotes.models import Quote, QuoteOption
from billing.repair_form import terms
from repairs.jobs.models import Job
from shopdesk.fields import MoneyField
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL


class RepairFormQuerySet(models.QuerySet):
    def exceeded_by(
        self, gross: Decimal, *, job: Job
    ) -> "RepairInformationForm | None":
        """Return the accepted form whose price an invoice of `gross` would exceed.

        What the customer agreed to afterwards comes on top of that price.
        """
        form = self.filter(job=job, accepted_at__isnull=False).defer("pdf").first()
        quote = accepted_quote(job)
        if form is None or quote is None:
            return None
        changes = agreed_total(quote) - quote.accepted_option.totals().gross
        return form if gross > form.ceiling + changes else None


class RepairInformationForm(StoredPdf):
    """Conditions that bind the shop once issued, and are frozen then."""

    class Mode(models.TextChoices):
        FIXED = terms.FIXED, "fixed"
        CALCULATED = terms.CALCULATED, "calculated, with a maximum"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="repair_forms")
    number = models.PositiveSmallIntegerField(editable=False)
    option = models.ForeignKey(
        QuoteOption, on_delete=models.PROTECT, related_name="repair_forms"
    )
    defect = models.TextField("nature of the defect", max_length=1000, blank=True)
    measures = models.TextField("repair", max_length=1000, blank=True)
    mode = models.CharField("price", max_length=5, choices=Mode, default=Mode.FIXED)
    price = MoneyField(editable=False)
    price_rule = models.CharField("price calculation", max_length=300, blank=True)
    max_price = MoneyField("maximum price", null=True, blank=True)
    days = models.PositiveSmallIntegerField(
        "days to complete",
        null=True,
        blank=True,
        validators=[MaxValueValidator(365)],
    )
    has_replacement = models.BooleanField(
        "replacement device", null=True, blank=True, default=False
    )
    replacement_cost = MoneyField("cost of replacement device", default=Decimal(0))
    place = models.CharField("place of handover", max_length=300, blank=True)
    # JSON text: a JSONField brings a CHECK that SQLite considers unsafe.
    extras_json = models.TextField(default="[]", editable=False)
    valid_days = models.PositiveSmallIntegerField(
        "valid for days",
        default=terms.MIN_VALID_DAYS,
        validators=[MinValueValidator(terms.MIN_VALID_DAYS), MaxValueValidator(365)],
    )
    more = models.TextField("additional information", max_length=1000, blank=True)
    currency = models.CharField(max_length=3, editable=False)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    issued_at = models.DateTimeField(null=True, editable=False)
    issued_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    valid_until = models.DateField(null=True, editable=False)
    issued_terms = models.TextField(blank=True, editable=False)
    pdf = models.BinaryField(null=True, editable=False)
    pdf_sha256 = models.CharField(max_length=64, blank=True, editable=False)
    accepted_at = models.DateTimeField(null=True, editable=False)
    accepted_by = models.CharField(max_length=120, blank=True, editable=False)
    accepted_how = models.CharField(
        max_length=8, choices=Quote.How, blank=True, editable=False
    )

    objects = RepairFormQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "number"], name="repair_form_number_once_a_job"
            ),
            models.CheckConstraint(
                condition=Q(issued_at=None)
                | (Q(valid_until__isnull=False) & ~Q(pdf_sha256="")),
                name="repair_form_given_is_kept",
            ),
            models.CheckConstraint(
                condition=Q(accepted_at=None)
                | (
                    Q(issued_at__isnull=False)
                    & ~Q(accepted_by="")
                    & ~Q(accepted_how="")
                ),
                name="repair_form_accepted_says_who",
            ),
            models.CheckConstraint(
                condition=Q(valid_days__gte=terms.MIN_VALID_DAYS),
                name="repair_form_holds_long_enough",
            ),
            models.CheckConstraint(
                condition=Q(issued_at=None)
                | ~Q(mode=terms.CALCULATED)
                | Q(max_price__gt=0),
                name="repair_form_calculated_has_max",
            ),
            models.CheckConstraint(
                condition=Q(price__gte=0, replacement_cost__gte=0)
                & (Q(max_price=None) | Q(max_price__gte=0)),
                name="repair_form_amounts_not_negative",
            ),
        ]

    def __str__(self):
        return f"Form {self.job.number}-{self.number}"

    def get_absolute_url(self):
        return reverse("repair_form:form", args=[self.pk])

    @property
    def extras(self) -> list[dict[str, str]]:
        """Ancillary services: `what` each is and its `cost` as text."""
        return json.loads(self.extras_json)

    @extras.setter
    def extras(self, told: list[dict[str, str]]) -> None:
        self.extras_json = json.dumps(told)

    @property
    def is_issued(self) -> bool:
        return self.issued_at is not None

    @property
    def is_accepted(self) -> bool:
        return self.accepted_at is not None

    def is_expired(self, on: date) -> bool:
        """Whether it is too late to accept on the day `on`."""
        return self.is_issued and not self.is_accepted and on > self.valid_until

    def status(self, on: date) -> str:
        """Return the status in a word."""
        if self.is_accepted:
            return "accepted"
        if not self.is_issued:
            return "draft"
        return "expired" if self.is_expired(on) else "sent"

    def written_in(self, shop: Shop) -> Currency:
        return Currency(self.currency, shop.locale)

    def terms(self, *, shop: Shop) -> terms.Terms:
        """Return the rows as they are now; an issued form has `issued_terms`."""
        device = self.job.device
        return terms.Terms(
            repairer=shop.name,
            address=shop.address,
            phone=shop.phone,
            email=shop.email,
            other_contact=shop.other_contact,
            good=f"{device.model.kind}, {device}",
            defect=self.defect,
            measures=self.measures,
            mode=self.mode,
            price=self.price,
            price_rule=self.price_rule,
            max_price=self.max_price,
            days=self.days,
            has_replacement=self.has_replacement,
            replacement_cost=self.replacement_cost,
            place=self.place,
            extras=tuple(
                terms.Extra(one["what"], Decimal(one["cost"])) for one in self.extras
            ),
            valid_days=self.valid_days,
            more=self.more,
        )

    @property
    def ceiling(self) -> Decimal:
        return self.max_price if self.mode == terms.CALCULATED else self.price


class DiagnosisConsent(models.Model):
    """The customer agreed to a diagnosis fee beforehand. Rows are only added."""

    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="diagnosis_consents"
    )
    fee = MoneyField()
    is_credited = models.BooleanField("deducted from the repair price", default=False)
    agreed_by = models.CharField("agreed by", max_length=120)
    agreed_how = models.CharField("how", max_length=8, choices=Quote.How)
    agreed_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(fee__gte=0) & ~Q(agreed_by=""),
                name="diagnosis_consent_says_who",
            ),
        ]

    def __str__(self):
        return f"{self.agreed_by} agreed to {self.fee}"
