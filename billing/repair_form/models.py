"""The European Repair Information Form of an option, and consent to a diagnosis.

Source: Directive (EU) 2024/1799, Article 4(4) and Annex I, seventeen rows in two parts.
The form is voluntary; once issued, its conditions stay valid for at least thirty days
(Article 4(5)).
"""

import json
from datetime import date, timedelta
from decimal import Decimal

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from billing.changes.queries import accepted_quote, agreed_total
from billing.quotes.models import Quote, QuoteOption
from repairs.jobs.models import Job
from shopdesk.fields import MoneyField
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL

MIN_VALID_DAYS = 30
"""Calendar days from the day of issue (Article 4(5))."""

MissingRow = tuple[str, str, bool]
"""A row of the form, what to enter, and whether it is entered in the shop settings."""


class RepairFormQuerySet(models.QuerySet):
    def exceeded_by(
        self, gross: Decimal, *, job: Job
    ) -> "RepairInformationForm | None":
        """Return the accepted form whose price an invoice of `gross` would exceed.

        What the customer agreed to afterwards is added to that price.
        """
        form = self.filter(job=job, accepted_at__isnull=False).defer("pdf").first()
        quote = accepted_quote(job)
        if form is None or quote is None:
            return None
        changes = agreed_total(quote) - quote.accepted_option.totals().gross
        return form if gross > form.ceiling + changes else None


class RepairInformationForm(StoredPdf):
    """Conditions that bind the shop once issued, and cannot be changed then."""

    class Mode(models.TextChoices):
        FIXED = "fixed", gettext_lazy("fixed")
        CALCULATED = "calc", gettext_lazy("calculated, with a maximum")

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="repair_forms")
    number = models.PositiveSmallIntegerField(editable=False)
    option = models.ForeignKey(
        QuoteOption, on_delete=models.PROTECT, related_name="repair_forms"
    )
    defect = models.TextField(
        gettext_lazy("nature of the defect"), max_length=1000, blank=True
    )
    measures = models.TextField(gettext_lazy("repair"), max_length=1000, blank=True)
    mode = models.CharField(
        gettext_lazy("price"), max_length=5, choices=Mode, default=Mode.FIXED
    )
    price = MoneyField(editable=False)
    price_rule = models.CharField(
        gettext_lazy("price calculation"), max_length=300, blank=True
    )
    max_price = MoneyField(gettext_lazy("maximum price"), null=True, blank=True)
    days = models.PositiveSmallIntegerField(
        gettext_lazy("days to complete"), validators=[MaxValueValidator(365)]
    )
    has_replacement = models.BooleanField(
        gettext_lazy("replacement device"), default=False
    )
    replacement_cost = MoneyField(
        gettext_lazy("cost of replacement device"), default=Decimal(0)
    )
    place = models.CharField(
        gettext_lazy("place of handover"), max_length=300, blank=True
    )
    # JSON text: a JSONField brings a CHECK that SQLite considers unsafe.
    extras_json = models.TextField(default="[]", editable=False)
    valid_days = models.PositiveSmallIntegerField(
        gettext_lazy("valid for days"),
        default=MIN_VALID_DAYS,
        validators=[MinValueValidator(MIN_VALID_DAYS), MaxValueValidator(365)],
    )
    more = models.TextField(
        gettext_lazy("additional information"), max_length=1000, blank=True
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    issued_at = models.DateTimeField(null=True, editable=False)
    issued_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    valid_until = models.DateField(null=True, editable=False)
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
                condition=Q(valid_days__gte=MIN_VALID_DAYS),
                name="repair_form_holds_long_enough",
            ),
            models.CheckConstraint(
                condition=Q(issued_at=None) | ~Q(mode="calc") | Q(max_price__gt=0),
                name="repair_form_calculated_has_max",
            ),
            models.CheckConstraint(
                condition=Q(price__gte=0, replacement_cost__gte=0)
                & (Q(max_price=None) | Q(max_price__gte=0)),
                name="repair_form_amounts_not_negative",
            ),
        ]

    def __str__(self):
        return gettext("Form {job}-{number}").format(
            job=self.job.number, number=self.number
        )

    def get_absolute_url(self):
        return reverse("repair_form:form", args=[self.pk])

    @property
    def extras(self) -> list[dict]:
        """Ancillary services: `what` each is, and its `cost` as Decimal."""
        return [
            {"what": extra["what"], "cost": Decimal(extra["cost"])}
            for extra in json.loads(self.extras_json or "[]")
        ]

    @extras.setter
    def extras(self, extras: list[dict]) -> None:
        self.extras_json = json.dumps(extras, default=str)

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
            return gettext("accepted")
        if not self.is_issued:
            return gettext("draft")
        return gettext("expired") if self.is_expired(on) else gettext("sent")

    def last_valid_day(self, issued_on: date) -> date:
        """Return the last day of validity; the day of issue is day 0."""
        return issued_on + timedelta(days=self.valid_days)

    def written_in(self, shop: Shop) -> Currency:
        return self.option.quote.written_in(shop)

    @property
    def is_calculated(self) -> bool:
        """Whether the price is calculated after the repair, up to `max_price`."""
        return self.mode == self.Mode.CALCULATED

    @property
    def ceiling(self) -> Decimal:
        """Return the highest price allowed once the form is accepted."""
        return self.max_price if self.is_calculated else self.price

    def missing_rows(self, *, shop: Shop) -> list[MissingRow]:
        """Return the rows to be filled before the form is issued, in form order."""
        rows = [
            (shop.name, gettext("Repairer"), gettext("Enter the shop’s name."), True),
            (
                shop.address,
                gettext("Address"),
                gettext("Enter the shop’s address."),
                True,
            ),
            (
                shop.phone,
                gettext("Telephone number"),
                gettext("Enter the shop’s phone number."),
                True,
            ),
            (
                shop.email,
                gettext("Email address"),
                gettext("Enter the shop’s email address."),
                True,
            ),
            (
                self.defect,
                gettext("Nature of the defect"),
                gettext("Enter the defect."),
                False,
            ),
            (
                self.measures,
                gettext("Type of repair"),
                gettext("Enter the repair."),
                False,
            ),
        ]
        if self.is_calculated:
            how = gettext("Enter how the price is calculated.")
            rows.append((self.price_rule, gettext("Price"), how, False))
            most = self.max_price or ""
            rows.append(
                (
                    most,
                    gettext("Maximum price"),
                    gettext("Enter a maximum price."),
                    False,
                )
            )
        rows.append(
            (
                self.place,
                gettext("Place"),
                gettext("Enter the place of handover."),
                False,
            )
        )
        return [(row, *facts) for value, row, *facts in rows if not str(value).strip()]


class DiagnosisConsent(models.Model):
    """The customer agreed to a diagnosis fee beforehand. Rows are only added."""

    job = models.ForeignKey(
        Job, on_delete=models.PROTECT, related_name="diagnosis_consents"
    )
    fee = MoneyField()
    is_credited = models.BooleanField(
        gettext_lazy("deducted from the repair price"), default=False
    )
    agreed_by = models.CharField(gettext_lazy("agreed by"), max_length=120)
    agreed_how = models.CharField(gettext_lazy("how"), max_length=8, choices=Quote.How)
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
        return gettext("{who} agreed to {fee}").format(who=self.agreed_by, fee=self.fee)
