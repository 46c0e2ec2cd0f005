"""The end of the day: the till is counted and the day closed. Never changed."""

from datetime import date, timedelta
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from shopdesk.fields import MoneyField
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import InCurrency
from shopdesk.shop.models import Series

TILL = "till"
"""The row that is locked so that payments and closings do not overlap."""


class DayClose(InCurrency, StoredPdf):
    """The cash counted and expected on `day`; all days before it are closed too.

    It covers the days from `since`: days that were not closed belong to the next one.
    Each currency that was taken or is in the till has its own count of the same day.
    """

    since = models.DateField()
    day = models.DateField()
    currency = models.CharField(max_length=3)
    opening = MoneyField(gettext_lazy("cash in the till before"))
    cash = MoneyField(gettext_lazy("cash taken"))
    counted = MoneyField(gettext_lazy("cash counted"))
    cash_removed = MoneyField(gettext_lazy("taken out of the till"), default=Decimal(0))
    why = models.CharField(gettext_lazy("why it differs"), max_length=300, blank=True)
    closed_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-day"]
        constraints = [
            models.UniqueConstraint(
                fields=["day", "currency"], name="day_close_once_a_currency"
            ),
            models.CheckConstraint(
                condition=Q(since__lte=F("day")), name="day_close_covers_days"
            ),
            models.CheckConstraint(
                condition=Q(counted__gte=0, cash_removed__gte=0)
                & Q(cash_removed__lte=F("counted")),
                name="day_close_counts_make_sense",
            ),
            models.CheckConstraint(
                condition=Q(counted=F("opening") + F("cash")) | ~Q(why=""),
                name="day_close_difference_has_a_reason",
            ),
            models.CheckConstraint(
                condition=~Q(pdf_sha256=""), name="day_close_paper_is_kept"
            ),
        ]

    def __str__(self):
        return gettext("the {currency} till of {day}").format(
            currency=self.currency, day=self.day
        )

    def get_absolute_url(self):
        return reverse("day_close:day", args=[self.pk])

    @property
    def file_name(self) -> str:
        """Return the name of its files, without their type."""
        return f"till-{self.day}-{self.currency}"

    @property
    def expected(self) -> Decimal:
        return (self.opening or Decimal(0)) + self.cash

    @property
    def difference(self) -> Decimal:
        """Return the cash difference, negative if cash is missing."""
        return self.counted - self.expected

    @property
    def closing_float(self) -> Decimal:
        """Return the cash with which the next day begins."""
        return self.counted - self.cash_removed

    @classmethod
    def last(cls) -> "DayClose | None":
        return cls.objects.defer("pdf").order_by("-day").first()

    @classmethod
    def last_of_currencies(cls) -> "dict[str, DayClose]":
        """Return the last closing of each currency."""
        same = cls.objects.filter(currency=OuterRef("currency")).order_by("-day")
        latest = cls.objects.defer("pdf").filter(day=Subquery(same.values("day")[:1]))
        return {close.currency: close for close in latest}


def lock_till() -> None:
    """Lock the till until the end of the transaction."""
    Series.objects.get_or_create(name=TILL)
    Series.objects.select_for_update().get(name=TILL)


def booking_date(on: date) -> date:
    """Return the day for which a payment on the day `on` is recorded; locks the till.

    If that day is closed, it is the day after the last closed one.
    """
    lock_till()
    last = DayClose.last()
    return max(on, last.day + timedelta(days=1)) if last else on
