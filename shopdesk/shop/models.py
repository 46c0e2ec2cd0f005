"""The shop's own facts: one record."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import connection, models, transaction
from django.db.models import F, Q

from shopdesk.fields import ExactField, MoneyField


class Shop(models.Model):
    """Name, money and promises of the shop; there is exactly one."""

    class Paper(models.TextChoices):
        A4 = "A4", "A4"
        LETTER = "Letter", "US Letter"

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
    tax_rate = ExactField("tax rate in percent", default=Decimal(20))
    labour_rate = MoneyField("price of an hour", default=Decimal(68))
    cost_rate = MoneyField("cost of an hour", default=Decimal(34))
    minimum_minutes = models.PositiveSmallIntegerField(
        "least minutes charged", default=15
    )
    rounding_step = MoneyField("round labour to", default=Decimal("0.50"))
    markup = ExactField("markup on parts in percent", default=Decimal(60))
    diagnosis_fee = MoneyField("fee for finding the fault", default=Decimal(25))
    parcel = MoneyField("price of a parcel", default=Decimal(9))
    quote_days = models.PositiveSmallIntegerField("a quote holds for days", default=30)

    cover_lasting = models.PositiveSmallIntegerField(
        "days of cover on a lasting fix", default=180
    )
    cover_stopgap = models.PositiveSmallIntegerField(
        "days of cover on a stopgap", default=30
    )
    cover_rest = models.PositiveSmallIntegerField(
        "least days of cover after a covered redo", default=30
    )

    watch_days = models.PositiveSmallIntegerField(
        "a comeback counts within days",
        default=90,
        validators=[MinValueValidator(7), MaxValueValidator(730)],
    )
    return_limit = ExactField("highest return risk we accept", default=Decimal("0.1"))
    sureness = ExactField("how sure a verdict must be", default=Decimal("0.9"))
    proof_risk = ExactField(
        "chance we accept that an unmended device passes", default=Decimal("0.05")
    )

    slip_words = models.TextField(
        max_length=2000,
        blank=True,
        default=(
            "Bring this slip when you collect. We look at your data only where you"
            " allowed it and only as far as the work needs it. Data can be lost during"
            " a repair: keep a copy."
        ),
    )
    cover_words = models.TextField(
        max_length=2000,
        blank=True,
        default=(
            "Cover is for the same fault. It ends where the device was opened by"
            " others, dropped or got wet. Your rights by law are not touched; check"
            " your local rules."
        ),
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="shop_is_one"),
            models.CheckConstraint(
                condition=Q(
                    tax_rate__gte=0,
                    tax_rate__lte=100,
                    labour_rate__gte=0,
                    cost_rate__gte=0,
                    rounding_step__gte=0,
                    markup__gte=0,
                    diagnosis_fee__gte=0,
                    parcel__gte=0,
                ),
                name="shop_amounts_make_sense",
            ),
            models.CheckConstraint(
                condition=Q(
                    return_limit__gt=0,
                    return_limit__lt=1,
                    sureness__gt=Decimal("0.5"),
                    sureness__lt=1,
                    proof_risk__gt=0,
                    proof_risk__lt=1,
                ),
                name="shop_chances_make_sense",
            ),
        ]

    def __str__(self):
        return self.name

    @classmethod
    def current(cls) -> "Shop":
        """The shop as it is set now; the defaults where nothing was set yet."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @classmethod
    def has_books(cls) -> bool:
        """Whether the database was set up at all; commands ask before they begin."""
        return cls._meta.db_table in connection.introspection.table_names()

    @property
    def places(self) -> int:
        """Decimals of the currency (ISO 4217)."""
        from babel.numbers import get_currency_precision

        return get_currency_precision(self.currency)

    def cover_days(self, declared: str) -> int:
        """Days promised after a repair declared lasting or stopgap."""
        return self.cover_stopgap if declared == "stopgap" else self.cover_lasting


class Series(models.Model):
    """Numbers without a gap: each is taken in the caller's transaction."""

    name = models.CharField(max_length=20, unique=True)
    last = models.PositiveIntegerField(default=0)

    class Meta:
        verbose_name_plural = "series"

    def __str__(self):
        return f"{self.name} at {self.last}"

    @classmethod
    @transaction.atomic
    def take(cls, name: str) -> int:
        """The next number of the series `name`: 1, 2, 3 …"""
        cls.objects.get_or_create(name=name)
        cls.objects.filter(name=name).update(last=F("last") + 1)
        return cls.objects.get(name=name).last
