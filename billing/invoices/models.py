"""Bills and what was paid on them. Frozen once issued: a mistake is credited."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.urls import reverse

from billing.quotes.models import Line, Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.fields import MoneyField

STAFF = settings.AUTH_USER_MODEL


class Invoice(models.Model):
    """An invoice or a credit note, with the buyer as they were on the day."""

    class Kind(models.TextChoices):
        INVOICE = "invoice", "invoice"
        CREDIT_NOTE = "credit", "credit note"

    kind = models.CharField(max_length=7, choices=Kind, default=Kind.INVOICE)
    series = models.CharField(max_length=12)
    number = models.PositiveIntegerField()
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="invoices")
    quote = models.ForeignKey(
        Quote, null=True, blank=True, on_delete=models.PROTECT, related_name="invoices"
    )
    credits = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="credit_notes",
    )
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="invoices"
    )
    buyer_name = models.CharField(max_length=240)
    buyer_address = models.TextField(max_length=300, blank=True)
    buyer_tax_id = models.CharField(max_length=40, blank=True)
    issued_on = models.DateField()
    supplied_on = models.DateField()
    issued_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    currency = models.CharField(max_length=3)
    prices_include_tax = models.BooleanField(default=False)
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    words = models.TextField(max_length=2000, blank=True)
    paper = models.BinaryField(editable=False)
    paper_hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["-issued_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["series", "number"], name="invoice_number_once"
            ),
            # A job is billed once; a second bill needs the first one credited.
            models.CheckConstraint(
                condition=Q(kind="invoice", credits=None, gross__gte=0)
                | Q(kind="credit", credits__isnull=False, gross__lte=0),
                name="invoice_or_credit_note",
            ),
            models.CheckConstraint(
                condition=Q(gross=F("net") + F("tax")), name="invoice_adds_up"
            ),
            models.CheckConstraint(
                condition=~Q(paper_hash=""), name="invoice_paper_is_kept"
            ),
        ]

    def __str__(self):
        return self.full_number

    def get_absolute_url(self):
        return reverse("invoices:invoice", args=[self.pk])

    @property
    def full_number(self) -> str:
        return f"{self.series}-{self.number:05d}"

    @property
    def paid(self) -> Decimal:
        return self.payments.aggregate(n=Sum("amount"))["n"] or Decimal(0)

    @property
    def credited(self) -> Decimal:
        """What its credit notes took off, as a positive amount."""
        return -(self.credit_notes.aggregate(n=Sum("gross"))["n"] or Decimal(0))

    @property
    def balance(self) -> Decimal:
        """What is still owed; negative where the shop owes."""
        return self.gross - self.credited - self.paid


class InvoiceLine(Line):
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")

    class Meta(Line.Meta):
        pass


class Payment(models.Model):
    """Money in, or out as a negative amount. Never changed."""

    class Means(models.TextChoices):
        CASH = "cash", "cash"
        CARD = "card", "card"
        TRANSFER = "transfer", "bank transfer"

    invoice = models.ForeignKey(
        Invoice, on_delete=models.PROTECT, related_name="payments"
    )
    amount = MoneyField()
    means = models.CharField("how", max_length=8, choices=Means)
    # Made with the form: the same form sent twice is one payment.
    key = models.UUIDField(unique=True)
    paid_on = models.DateField()
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount=0), name="payment_not_zero"),
            models.CheckConstraint(
                condition=Q(means__in=["cash", "card", "transfer"]),
                name="payment_means_known",
            ),
        ]

    def __str__(self):
        return f"{self.amount} {self.get_means_display()}"
