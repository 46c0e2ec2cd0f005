"""Bills and what was paid on them. Frozen once issued: a mistake is credited."""

from collections.abc import Iterable
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import (
    Case,
    Exists,
    ExpressionWrapper,
    F,
    OuterRef,
    Q,
    Subquery,
    Sum,
    Value,
    When,
)
from django.db.models.functions import Coalesce
from django.urls import reverse

from billing.invoices import einvoice_bill
from billing.pricing.currency import Currency
from billing.quotes.models import Line, Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.fields import MoneyField
from shopdesk.money import Totals, totals
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL


def _sum_of(rows, of: str, field: str):
    """The sum of `field` over the rows of an invoice, nothing being zero."""
    nought = Value(Decimal(0), output_field=MoneyField())
    summed = rows.filter(**{of: OuterRef("pk")}).order_by().values(of)
    return Coalesce(
        Subquery(summed.annotate(n=Sum(field)).values("n"), output_field=MoneyField()),
        nought,
    )


class InvoiceQuerySet(models.QuerySet):
    def with_balance(self):
        """With `owed`: what is left to pay, negative where the shop owes.

        A credit note owes nothing of its own: it lowers what its invoice asks.
        """
        nought = Value(Decimal(0), output_field=MoneyField())
        left = ExpressionWrapper(
            F("gross")
            + _sum_of(Invoice.objects.all(), "credits", "gross")
            - _sum_of(Payment.objects.all(), "invoice", "amount"),
            output_field=MoneyField(),
        )
        return self.annotate(
            owed=Case(
                When(kind=Invoice.Kind.CREDIT_NOTE, then=nought),
                default=left,
                output_field=MoneyField(),
            ),
            is_credited=Exists(Invoice.objects.filter(credits=OuterRef("pk"))),
        )

    def for_rows(self):
        """With all that one row of a list of invoices shows; the papers stay behind."""
        return self.defer("paper").with_balance().select_related("job")

    def unsettled(self):
        """Those with something to pay, by the customer or back to the customer."""
        return self.with_balance().exclude(owed=0)

    def settled(self):
        return self.with_balance().filter(owed=0, kind=Invoice.Kind.INVOICE)

    def standing(self):
        """Bills that no credit note took back."""
        return self.filter(kind=Invoice.Kind.INVOICE, credit_notes=None)


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
    buyer_country = models.CharField(max_length=2)
    seller_name = models.CharField(max_length=80)
    seller_address = models.TextField(max_length=300, blank=True)
    seller_country = models.CharField(max_length=2)
    seller_tax_id = models.CharField(max_length=40, blank=True)
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
    # What was paid as it was issued stands on the paper; later payments do not.
    paid_with_it = MoneyField(default=Decimal(0))
    means = models.CharField(max_length=8, blank=True)
    einvoice = models.CharField(
        max_length=3, choices=Customer.EInvoice, blank=True, default=""
    )
    paper = models.BinaryField(editable=False)
    paper_hash = models.CharField(max_length=64)

    objects = InvoiceQuerySet.as_manager()

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
    def is_credit_note(self) -> bool:
        return self.kind == self.Kind.CREDIT_NOTE

    @property
    def standing(self) -> str:
        """Where it stands, in a word; of a row that came `with_balance`."""
        if self.is_credit_note:
            return self.get_kind_display()
        if self.is_credited:
            return "credited" if not self.owed else "owed back"
        return "owed" if self.owed else "paid"

    def written_in(self, shop: Shop) -> Currency:
        """The currency of the bill, as the shop writes amounts."""
        return Currency(self.currency, shop.locale)

    def totals(self) -> Totals:
        """The sums under the lines, as they were when it was issued."""
        return totals(
            [line.as_money() for line in self.lines.all()],
            places=Currency(self.currency, "").places,
            prices_include_tax=self.prices_include_tax,
        )

    def as_einvoice(self, lines: Iterable["InvoiceLine"]) -> einvoice_bill.Bill:
        """The bill as an e-invoice tells it: from what was written down, and no more.

        What was paid later is not in it, nor what the shop is called today.
        """
        taken_back = self.credits
        lines = list(lines)
        return einvoice_bill.Bill(
            number=self.full_number,
            issued_on=self.issued_on,
            supplied_on=self.supplied_on,
            seller=einvoice_bill.Party(
                self.seller_name,
                self.seller_address,
                self.seller_country,
                self.seller_tax_id,
            ),
            buyer=einvoice_bill.Party(
                self.buyer_name,
                self.buyer_address,
                self.buyer_country,
                self.buyer_tax_id,
            ),
            currency=self.currency,
            places=Currency(self.currency, "").places,
            lines=[
                einvoice_bill.Line(
                    line.text,
                    line.quantity,
                    line.price,
                    line.tax_rate,
                    line.tax_category,
                )
                for line in lines
            ],
            tax=self.tax,
            gross=self.gross,
            prices_include_tax=self.prices_include_tax,
            paid=self.paid_with_it,
            means=self.means,
            credits=(taken_back.full_number, taken_back.issued_on)
            if taken_back
            else None,
            notes=[self.words],
            reasons={line.tax_category: line.tax_reason for line in lines},
        )

    @property
    def paid(self) -> Decimal:
        return self.payments.aggregate(n=Sum("amount"))["n"] or Decimal(0)

    @property
    def credited(self) -> Decimal:
        """What its credit notes took off, as a positive amount."""
        return -(self.credit_notes.aggregate(n=Sum("gross"))["n"] or Decimal(0))

    @property
    def balance(self) -> Decimal:
        """What is still owed; negative where the shop owes.

        A credit note owes nothing of its own.
        """
        if self.is_credit_note:
            return Decimal(0)
        return self.gross - self.credited - self.paid


class InvoiceLine(Line):
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")

    class Meta(Line.Meta):
        pass


class EInvoice(models.Model):
    """The UBL file of a bill, made once. Never changed."""

    invoice = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, related_name="ubl"
    )
    file = models.BinaryField(editable=False)
    file_hash = models.CharField(max_length=64)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(file_hash=""), name="einvoice_file_is_kept"
            ),
        ]

    def __str__(self):
        return f"{self.invoice.full_number}.xml"


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
