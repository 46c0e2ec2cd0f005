"""The shop's own facts: one record."""

from base64 import b64encode
from datetime import date
from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import connection, models, transaction
from django.db.models import F, Q

from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.shop import currencies, tax
from shopdesk.shop.price_list import Markups, Rates


class Shop(models.Model):
    """Name, money and promises of the shop; there is exactly one."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Email", "US Email"

    name = models.CharField(max_length=80, default="Our repair bench")
    address = models.TextField(max_length=300, blank=True)
    country = models.CharField("country code", max_length=2, default="GB")
    phone = models.CharField(max_length=32, blank=True)
    email = models.EmailField(blank=True)
    tax_id = models.CharField("tax number", max_length=40, blank=True)

    currency = models.CharField(max_length=3, default="EUR")
    locale = models.CharField(max_length=12, default="en_GB")
    paper = models.CharField(max_length=6, choices=Paper, default=Paper.A4)
    prices_include_tax = models.BooleanField(default=False)
    tax_kind = models.CharField(
        "usual tax", max_length=8, choices=tax.KINDS, default=tax.STANDARD
    )
    hourly_rate = MoneyField("price of an hour", default=Decimal(68))
    hourly_cost = MoneyField("cost of an hour", default=Decimal(34))
    minimum_minutes = models.PositiveSmallIntegerField(
        "least minutes charged", default=15
    )
    rounding_step = MoneyField("round labour to", default=Decimal("0.50"))
    markup = FixedDecimalField("markup on parts in percent", default=Decimal(60))
    diagnosis_fee = MoneyField("fee for finding the fault", default=Decimal(25))
    deducts_diagnosis_fee = models.BooleanField(
        "the fee comes off a repair that is paid for", default=False
    )
    parcel = MoneyField("price of a parcel", default=Decimal(9))
    target_margin = FixedDecimalField("margin aimed at in percent", default=Decimal(15))
    quote_days = models.PositiveSmallIntegerField("a quote holds for days", default=30)
    link_days = models.PositiveSmallIntegerField(
        "a customer's link works for days", default=90
    )
    uses_repair_form = models.BooleanField(
        "offer the European Repair Information Form", default=False
    )
    emails_customer = models.BooleanField(
        "confirm a customer's answer by mail", default=True
    )
    emails_shop = models.BooleanField(
        "tell the shop by mail when a customer answers", default=True
    )

    invoice_series = models.CharField(
        "invoice numbers begin with", max_length=8, default="INV{yy}"
    )
    credit_series = models.CharField(
        "credit note numbers begin with", max_length=8, default="CN{yy}"
    )
    payment_term_days = models.PositiveSmallIntegerField(
        "a bill is due in days", default=14
    )
    reminder_interval_days = models.PositiveSmallIntegerField(
        "days between reminders", default=10
    )
    cash_step = MoneyField("round cash to", default=Decimal(0))

    warranty_days_lasting = models.PositiveSmallIntegerField(
        "days of cover on a lasting fix", default=180
    )
    warranty_days_stopgap = models.PositiveSmallIntegerField(
        "days of cover on a stopgap", default=30
    )
    warranty_days_minimum = models.PositiveSmallIntegerField(
        "least days of cover after a covered redo", default=30
    )

    comeback_period_days = models.PositiveSmallIntegerField(
        "a comeback counts within days",
        default=90,
        validators=[MinValueValidator(7), MaxValueValidator(730)],
    )
    max_comeback_risk = FixedDecimalField(
        "highest return risk we accept", default=Decimal("0.1")
    )
    verdict_confidence = FixedDecimalField(
        "how sure a verdict must be", default=Decimal("0.9")
    )
    final_test_risk = FixedDecimalField(
        "chance we accept that an unmended device passes", default=Decimal("0.05")
    )

    slip_text = models.TextField(
        max_length=2000,
        blank=True,
        default=(
            "Bring this slip when you collect. We look at your data only where you"
            " allowed it and only as far as the work needs it. Data can be lost during"
            " a repair: keep a copy."
        ),
    )
    warranty_text = models.TextField(
        max_length=2000,
        blank=True,
        default=(
            "Cover is for the same fault. It ends where the device was opened by"
            " others, dropped or got wet. Your rights by law are not touched; check"
            " your local rules."
        ),
    )

    quote_text = models.TextField(max_length=2000, blank=True, default="")
    acceptance_text = models.TextField(max_length=2000, blank=True, default="")
    invoice_text = models.TextField(max_length=2000, blank=True, default="")
    reminder_text = models.TextField(
        max_length=2000,
        blank=True,
        default="It may have slipped your attention: this bill is still open.",
    )
    parcel_text = models.TextField(max_length=2000, blank=True, default="")
    letterhead = models.TextField(
        "lines under the name on papers", max_length=300, blank=True
    )
    other_contact = models.CharField(
        "another way to reach us online", max_length=120, blank=True
    )
    logo = models.BinaryField(null=True, editable=False)
    paper_language = models.CharField(
        "papers are written in", max_length=5, default="en"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="shop_is_one"),
            models.CheckConstraint(
                condition=Q(
                    target_margin__gte=0,
                    target_margin__lt=100,
                    hourly_rate__gte=0,
                    hourly_cost__gte=0,
                    rounding_step__gte=0,
                    markup__gte=0,
                    diagnosis_fee__gte=0,
                    parcel__gte=0,
                    cash_step__gte=0,
                ),
                name="shop_amounts_make_sense",
            ),
            models.CheckConstraint(
                condition=Q(
                    max_comeback_risk__gt=0,
                    max_comeback_risk__lt=1,
                    verdict_confidence__gt=Decimal("0.5"),
                    verdict_confidence__lt=1,
                    final_test_risk__gt=0,
                    final_test_risk__lt=1,
                ),
                name="shop_chances_make_sense",
            ),
        ]

    def __str__(self):
        return self.name

    @classmethod
    def current(cls) -> "Shop":
        """The shop as it is set now; the defaults where nothing was set yet.

        Its logo is fetched only where it is shown.
        """
        return cls.objects.defer("logo").filter(pk=1).first() or cls(pk=1)

    @classmethod
    def has_records(cls) -> bool:
        """Whether the database was set up at all; commands ask before they begin."""
        return cls._meta.db_table in connection.introspection.table_names()

    @property
    def places(self) -> int:
        """Decimals of the currency (ISO 4217)."""
        return currencies.places(self.currency)

    @property
    def logo_inline(self) -> str:
        """The logo as an address that carries it whole; nothing is fetched for it."""
        if not self.logo:
            return ""
        return f"data:image/png;base64,{b64encode(bytes(self.logo)).decode()}"

    def tax(self, on: date, kind: str = "") -> tax.Tax:
        """The tax of a kind on a day; of the shop's usual kind where none is said.

        Raises TaxRate.DoesNotExist for a reduced rate that nobody wrote down.
        """
        kind = kind or self.tax_kind
        found = TaxRate.objects.holding(on).get(kind)
        if found is None:
            raise TaxRate.DoesNotExist(f"The shop has no {tax.LABELS[kind]}.")
        return found

    def markups(self) -> Markups:
        """What is put on the cost of parts, the bands included."""
        bands = MarkupTier.objects.order_by("starts_at")
        return Markups(
            self.markup,
            tuple(bands.values_list("starts_at", "percent")),
            places=self.places,
        )

    def rates(self) -> Rates:
        """Return what labour and parts are charged by."""
        return Rates(
            hour=self.hourly_rate,
            minimum_minutes=self.minimum_minutes,
            step=self.rounding_step,
            markups=self.markups(),
            places=self.places,
        )

    def warranty_days(self, declared: str) -> int:
        """Days promised after a repair declared lasting or stopgap."""
        return (
            self.warranty_days_stopgap
            if declared == "stopgap"
            else self.warranty_days_lasting
        )


class TaxRateQuerySet(models.QuerySet):
    def holding(self, on: date) -> dict[str, tax.Tax]:
        """What holds on that day, by kind of tax."""
        held = dict(tax.UNSAID)
        for row in self.filter(starts_on__lte=on).order_by("starts_on"):
            reason = row.reason or tax.exemption_reason(row.kind)
            held[row.kind] = tax.Tax(row.kind, row.rate, reason)
        return held


class TaxRate(models.Model):
    """A rate and the first day on which it holds, until a later one takes its place."""

    kind = models.CharField(max_length=8, choices=tax.KINDS)
    rate = FixedDecimalField("percent", default=Decimal(0))
    starts_on = models.DateField("from")
    reason = models.CharField("why there is no tax", max_length=200, blank=True)

    objects = TaxRateQuerySet.as_manager()

    class Meta:
        ordering = ["kind", "-starts_on"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "starts_on"], name="tax_rate_once_a_day"
            ),
            models.CheckConstraint(
                condition=Q(kind__in=tax.WITH_RATE, rate__gt=0, rate__lte=100)
                | (~Q(kind__in=tax.WITH_RATE) & Q(rate=0)),
                name="tax_rate_goes_with_its_kind",
            ),
        ]

    def __str__(self):
        return f"{self.get_kind_display()} {self.rate.normalize():f} %"


class MarkupTier(models.Model):
    """Another markup on parts that cost `starts_at` or more."""

    starts_at = MoneyField("parts that cost at least")
    percent = FixedDecimalField("markup in percent")

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(fields=["starts_at"], name="markup_band_once"),
            models.CheckConstraint(
                condition=Q(starts_at__gt=0, percent__gte=0),
                name="markup_band_makes_sense",
            ),
        ]

    def __str__(self):
        return f"{self.percent:f} % from {self.starts_at:f}"


class NumberSeriesError(Exception):
    """Numbers of two kinds must not mix in one series."""


class Series(models.Model):
    """Numbers without a gap: each is taken in the caller's transaction."""

    name = models.CharField(max_length=20, unique=True)
    kind = models.CharField("what it numbers", max_length=8, blank=True, default="")
    last = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "series"

    def __str__(self):
        return f"{self.name} at {self.last}"

    @classmethod
    @transaction.atomic
    def take(cls, name: str, *, kind: str = "") -> int:
        """The next number of the series `name`: 1, 2, 3 …"""
        cls.objects.get_or_create(name=name, defaults={"kind": kind})
        taken = cls.objects.filter(name=name, kind=kind).update(last=F("last") + 1)
        if not taken:
            raise NumberSeriesError(f"{name} has numbers of another kind already.")
        return cls.objects.get(name=name).last
