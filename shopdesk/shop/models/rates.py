"""Tax rates with their start dates, and markup tiers for expensive parts."""

from datetime import date
from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from shopdesk.fields import FixedDecimalField, MoneyField
from shopdesk.recording.recorded import Recorded, RecordedQuerySet
from shopdesk.shop import tax

SETTINGS = ("shopdesk.shop", 1)
"""The record of the settings, whose history shows changes of these, too."""


class TaxRateQuerySet(RecordedQuerySet):
    def in_force(self, on: date) -> dict[str, tax.Tax]:
        """Return the tax in force on that day, by kind of tax."""
        taxes = dict(tax.DEFAULT_TAX)
        for row in self.filter(starts_on__lte=on).order_by("starts_on"):
            reason = row.reason or tax.exemption_reason(row.kind)
            taxes[row.kind] = tax.Tax(row.kind, row.rate, reason)
        return taxes


class TaxRate(Recorded):
    """A tax rate and its start date; it applies until a later one replaces it."""

    kind = models.CharField(max_length=8, choices=tax.KINDS)
    rate = FixedDecimalField(gettext_lazy("percent"), default=Decimal(0))
    starts_on = models.DateField(gettext_lazy("from"))
    reason = models.CharField(
        gettext_lazy("why there is no tax"), max_length=200, blank=True
    )

    belongs_to = SETTINGS

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


class TaxRule(Recorded):
    """Another tax than the shop's usual one, by what is sold and to whom."""

    SOLD = (("", "everything"), *tax.SOLD)
    BUYERS = (("", "all customers"), *tax.BUYERS)

    sold = models.CharField(
        gettext_lazy("sold"), max_length=6, choices=SOLD, blank=True, default=""
    )
    buyer = models.CharField(
        gettext_lazy("to"), max_length=8, choices=BUYERS, blank=True, default=""
    )
    kind = models.CharField(gettext_lazy("tax"), max_length=8, choices=tax.KINDS)
    reason = models.CharField(
        gettext_lazy("why there is no tax"), max_length=200, blank=True
    )

    belongs_to = SETTINGS

    class Meta:
        ordering = ["sold", "buyer"]
        constraints = [
            models.UniqueConstraint(fields=["sold", "buyer"], name="tax_rule_once"),
            models.CheckConstraint(
                condition=~Q(sold="", buyer=""), name="tax_rule_is_about_something"
            ),
        ]

    def __str__(self):
        return (
            f"{self.get_sold_display()} to {self.get_buyer_display()}:"
            f" {self.get_kind_display()}"
        )

    def as_rule(self) -> tax.Rule:
        return tax.Rule(self.kind, self.sold, self.buyer, self.reason)


class MarkupTier(Recorded):
    """A different markup on parts that cost `starts_at` or more."""

    starts_at = MoneyField(gettext_lazy("parts that cost at least"))
    percent = FixedDecimalField(gettext_lazy("markup in percent"))

    costs = frozenset({"starts_at", "percent"})
    belongs_to = SETTINGS

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.UniqueConstraint(fields=["starts_at"], name="markup_tier_once"),
            models.CheckConstraint(
                condition=Q(starts_at__gt=0, percent__gte=0),
                name="markup_tier_makes_sense",
            ),
        ]

    def __str__(self):
        return f"{self.percent:f} % from {self.starts_at:f}"
