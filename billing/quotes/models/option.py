"""The options of a quote and their lines, and the lines of all other documents."""

from collections.abc import Iterable
from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from billing.pricing.track_record_words import NEVER, frequency_text
from billing.quotes.models.quote import Quote
from repairs.faults import fix_types
from repairs.faults.models import Fix
from repairs.jobs.models import Repair
from repairs.stock.models import Part
from shopdesk import money
from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.papers.render import in_all_languages
from shopdesk.shop import price_list, tax

MAX_OPTIONS = 5
MAX_LINES = 30
MAX_PRICE = Decimal(10) ** 9
"""The highest amount of one line, in any currency."""


class QuoteOption(models.Model):
    """One alternative of a quote: what is done, and its warranty."""

    class WorkKind(models.TextChoices):
        REPAIR = "repair", gettext_lazy("repair")
        REPLACE = "replace", gettext_lazy("board replacement")
        RETURN = "return", gettext_lazy("return without repair")

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="options")
    position = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=120)
    description = models.TextField(
        gettext_lazy("description"), max_length=1000, blank=True
    )
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix_type = models.CharField(
        max_length=7, choices=fix_types.CHOICES, blank=True, default=""
    )
    warranty_days = models.PositiveSmallIntegerField(
        gettext_lazy("warranty days"), default=0
    )
    turnaround_days = models.PositiveSmallIntegerField(
        gettext_lazy("turnaround days"), default=3
    )
    work_kind = models.CharField(
        gettext_lazy("work"), max_length=7, choices=WorkKind, default=WorkKind.REPAIR
    )
    # The track record as the customer reads it.
    track_record = models.CharField(
        gettext_lazy("track record"), max_length=300, blank=True
    )
    # How the price was calculated. Never shown to the customer.
    planned_minutes = models.PositiveIntegerField(null=True, blank=True, editable=False)
    own_cost = MoneyField(null=True, blank=True, editable=False)
    rework_cost = MoneyField(null=True, blank=True, editable=False)
    chance = FixedDecimalField(
        gettext_lazy("comeback risk"), null=True, blank=True, editable=False
    )
    comeback_allowance = MoneyField(
        gettext_lazy("comeback allowance"), null=True, blank=True, editable=False
    )
    list_price = MoneyField(null=True, blank=True, editable=False)
    min_price = MoneyField(null=True, blank=True, editable=False)
    price_reason = models.CharField(
        gettext_lazy("reason for different price"), max_length=200, blank=True
    )

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["quote", "position"], name="option_position_once"
            ),
            models.CheckConstraint(condition=~Q(title=""), name="option_has_title"),
            models.CheckConstraint(
                condition=Q(fix_type__in=["", *fix_types.LABELS]),
                name="option_fix_type_is_known",
            ),
        ]

    def __str__(self):
        return self.title

    @property
    def is_lasting(self) -> bool:
        return self.fix_type == fix_types.LASTING

    @property
    def is_stopgap(self) -> bool:
        return self.fix_type == fix_types.STOPGAP

    @property
    def is_no_repair(self) -> bool:
        """Whether the device is returned without repair."""
        return self.work_kind == self.WorkKind.RETURN

    @property
    def is_board(self) -> bool:
        return self.work_kind == self.WorkKind.REPLACE

    @property
    def suggested(self) -> Decimal | None:
        """Return the suggested price of the option, None if there is none."""
        if self.list_price is None:
            return None
        return max(self.list_price, self.min_price or Decimal(0))

    @property
    def is_raised(self) -> bool:
        """Whether comebacks raise the price above the list price."""
        return self.suggested is not None and self.suggested > self.list_price

    @property
    def has_no_history(self) -> bool:
        """Whether the comeback risk is the shop's average."""
        return any(text in self.track_record for text in in_all_languages(NEVER))

    @property
    def risk_text(self) -> str:
        """Return the comeback risk within the warranty as “about 1 in n”."""
        return frequency_text(float(self.chance)) if self.chance else ""

    def above_suggestion(
        self, lines: Iterable["QuoteLine"] | None = None
    ) -> Decimal | None:
        """Return how much more than suggested is charged (negative: less).

        Lines added by hand have no suggestion and are left out of both totals.
        """
        if self.suggested is None:
            return None
        lines = self.lines.all() if lines is None else lines
        suggested = [line for line in lines if line.suggested is not None]
        return sum((line.amount for line in suggested), Decimal(0)) - self.suggested

    def totals(self) -> money.Totals:
        return self.quote.totals_of(self.lines.all())


class LineKind(models.TextChoices):
    LABOUR = price_list.LABOUR, gettext_lazy("labour")
    PART = price_list.PART, gettext_lazy("part")
    FEE = price_list.FEE, gettext_lazy("fee")


class Line(models.Model):
    """What all lines have in common: text and price are copied when the line is
    created.
    """

    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=6, choices=LineKind)
    text = models.CharField(max_length=200)
    quantity = FixedDecimalField(default=Decimal(1))
    price = MoneyField(gettext_lazy("unit price"))
    amount = MoneyField(editable=False)
    tax_kind = models.CharField(
        gettext_lazy("tax"), max_length=8, choices=tax.KINDS, default=tax.STANDARD
    )
    tax_rate = FixedDecimalField(gettext_lazy("tax rate (%)"), editable=False)
    tax_reason = models.CharField(max_length=200, blank=True, editable=False)

    class Meta:
        abstract = True
        ordering = ["position", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=LineKind.values) & ~Q(text=""),
                name="%(class)s_is_said",
            ),
            models.CheckConstraint(
                condition=Q(
                    tax_kind__in=tax.WITH_RATE, tax_rate__gt=0, tax_rate__lte=100
                )
                | (~Q(tax_kind__in=tax.WITH_RATE) & Q(tax_rate=0)),
                name="%(class)s_tax_makes_sense",
            ),
        ]

    def __str__(self):
        return self.text

    @property
    def tax_category(self) -> str:
        """Return the tax category of EN 16931 (UNCL 5305)."""
        return tax.CATEGORY[self.tax_kind]

    def validate_constraints(self, exclude=None) -> None:
        """Skip these checks: the form has made them, and here they cost two queries a
        line.
        """

    @property
    def charged_tax(self) -> tax.Tax:
        """Return its tax as it was when the line was created."""
        return tax.Tax(self.tax_kind, self.tax_rate, self.tax_reason)

    def set_tax(self, held: tax.Tax) -> None:
        """Copy the tax in force; it stays when the shop's rates change."""
        self.tax_kind, self.tax_rate, self.tax_reason = (
            held.kind,
            held.rate,
            held.reason,
        )

    def calculate(self, *, places: int) -> None:
        """Set the amount from quantity and price."""
        self.amount = money.line_amount(self.as_money(), places=places)

    def as_money(self) -> money.TaxedLine:
        return money.TaxedLine(
            self.quantity,
            self.price,
            self.tax_rate,
            self.tax_category,
            self.tax_reason,
        )


class QuoteLine(Line):
    option = models.ForeignKey(
        QuoteOption, on_delete=models.CASCADE, related_name="lines"
    )
    part = models.ForeignKey(
        Part, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # Labour names its repair and fix, so that accepting an option can set the fixes of
    # several faults.
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # The price that the rates suggested, beside the one charged.
    suggested = MoneyField(null=True, blank=True, editable=False)

    class Meta(Line.Meta):
        constraints = [
            *Line.Meta.constraints,
            models.CheckConstraint(
                condition=Q(quantity__gt=0, price__gte=0),
                name="quote_line_not_negative",
            ),
        ]
