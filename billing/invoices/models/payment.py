"""Payments and receipts, and reminders of overdue invoices."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from billing.invoices.models.invoice import MEANS, Invoice
from billing.invoices.models.invoice_query import SETTLES
from billing.invoices.models.numbered import Numbered, NumberedQuerySet
from repairs.jobs.models import Job
from shopdesk.fields import MoneyField
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import InCurrency

STAFF = settings.AUTH_USER_MODEL
MOVED = "moved"
"""A transfer between invoices, or from a deposit to an invoice."""
WAIVED = "waived"
"""A reminder fee that the shop no longer asks for; no money."""


class PaymentQuerySet(models.QuerySet):
    def total(self) -> Decimal:
        """Return the amount by which they reduce balances together."""
        return self.aggregate(n=Sum(SETTLES, default=Decimal(0)))["n"]

    def deposits(self):
        """Return payments without an invoice."""
        return self.filter(invoice=None)

    def for_list(self):
        """Fetch who took them, the invoice and the receipt, without documents."""
        found = self.select_related("taken_by", "invoice", "receipt")
        return found.defer("invoice__pdf", "receipt__pdf")

    def over_the_counter(self):
        """Return real payments, without transfers and waived fees."""
        return self.filter(means__in=dict(MEANS))


class Payment(InCurrency, models.Model):
    """A payment, negative for a refund, on a job and its invoice. Never changed.

    One without an invoice is a deposit. When the job is invoiced, the deposit is moved
    to the invoice by two rows that add up to 0.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="payments")
    invoice = models.ForeignKey(
        Invoice,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="payments",
    )
    amount = MoneyField()
    # Cash rounding: amount plus rounding is what the balance is reduced by.
    rounding = MoneyField(default=Decimal(0))
    currency = models.CharField(max_length=3)
    means = models.CharField(
        gettext_lazy("payment method"),
        max_length=8,
        choices=[
            *MEANS,
            (MOVED, gettext_lazy("transferred")),
            (WAIVED, gettext_lazy("waived")),
        ],
    )
    text = models.CharField(gettext_lazy("what for"), max_length=200, blank=True)
    # Created with the form: the same form sent twice is one payment.
    key = models.UUIDField(unique=True)
    paid_on = models.DateField()
    # The day of the till that it is recorded for: later if that day was closed already.
    booked_on = models.DateField()
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = PaymentQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["booked_on"])]
        constraints = [
            models.CheckConstraint(
                condition=~Q(amount=0, rounding=0), name="payment_not_zero"
            ),
            models.CheckConstraint(
                condition=Q(means__in=[*dict(MEANS), MOVED, WAIVED]),
                name="payment_means_known",
            ),
            models.CheckConstraint(
                condition=Q(rounding=0) | Q(means="cash"),
                name="payment_only_cash_is_rounded",
            ),
            models.CheckConstraint(
                condition=Q(booked_on__gte=F("paid_on")),
                name="payment_counts_on_its_day_or_later",
            ),
        ]

    def __str__(self):
        return f"{self.amount} {self.get_means_display()}"

    @property
    def settles(self) -> Decimal:
        """Return the amount by which it reduces the balance of the invoice."""
        return self.amount + self.rounding


class ReceiptQuerySet(NumberedQuerySet):
    def for_list(self):
        """Fetch all that one row of a list shows, without documents."""
        return self.defer("pdf").select_related("payment__job__customer")


class Receipt(Numbered, StoredPdf):
    """The receipt for a payment or a refund. Never changed."""

    payment = models.OneToOneField(
        Payment, on_delete=models.PROTECT, related_name="receipt"
    )

    objects = ReceiptQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["series", "number"], name="receipt_number_once"
            ),
            models.CheckConstraint(
                condition=~Q(pdf_sha256=""), name="receipt_paper_is_kept"
            ),
        ]

    def get_absolute_url(self):
        """Return the page that lists it with all payments of its job."""
        return f"{reverse('invoices:for_job', args=[self.payment.job_id])}#money"


class Reminder(StoredPdf):
    """A reminder that an invoice is overdue, by level 1, 2 … Never changed."""

    invoice = models.ForeignKey(
        Invoice, on_delete=models.PROTECT, related_name="reminders"
    )
    level = models.PositiveSmallIntegerField()
    reminded_on = models.DateField()
    fee = MoneyField(default=Decimal(0))
    # The balance due on that day, including this fee.
    owed = MoneyField()
    text = models.TextField(max_length=2000, blank=True)
    mailed_to = models.EmailField(blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["invoice", "level"], name="reminder_level_once"
            ),
            models.CheckConstraint(
                condition=Q(level__gte=1, fee__gte=0, owed__gt=0) & ~Q(pdf_sha256=""),
                name="reminder_makes_sense",
            ),
        ]

    def __str__(self):
        return gettext("reminder {level} of {invoice}").format(
            level=self.level, invoice=self.invoice
        )
