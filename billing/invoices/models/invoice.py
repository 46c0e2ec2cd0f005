"""Invoices and credit notes. Never changed once issued, only credited."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.urls import reverse
from django.utils.translation import gettext_lazy, gettext_noop

from billing.einvoice.en16931 import Party
from billing.invoices.credit_sums import credit_sums
from billing.invoices.models.invoice_query import InvoiceQuerySet
from billing.invoices.models.numbered import Numbered
from billing.quotes.models import Line, Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job, Repair
from shopdesk.fields import MoneyField
from shopdesk.money import Totals, totals
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import InCurrency

STAFF = settings.AUTH_USER_MODEL
MEANS = [
    ("cash", gettext_lazy("cash")),
    ("card", gettext_lazy("card")),
    ("transfer", gettext_lazy("bank transfer")),
]
"""Payment methods at the counter."""


class Invoice(Numbered, InCurrency, StoredPdf):
    """An invoice or a credit note, with the buyer's details on the day of issue."""

    class Kind(models.TextChoices):
        INVOICE = "invoice", gettext_lazy("invoice")
        CREDIT_NOTE = "credit", gettext_lazy("credit note")

    kind = models.CharField(max_length=7, choices=Kind, default=Kind.INVOICE)
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
    due_on = models.DateField(gettext_lazy("to be paid by"), null=True)
    issued_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    currency = models.CharField(max_length=3)
    prices_include_tax = models.BooleanField(default=False)
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    # The warranty terms of an invoice, the reason for a credit note.
    text = models.TextField(max_length=2000, blank=True)
    # True if a credit note credits all that was left of its invoice.
    is_whole = models.BooleanField(default=False)
    # The document shows the deposits used and what was paid when it was issued, but no
    # later payments. `rounding` is that of the payment.
    deposits_used = MoneyField(default=Decimal(0))
    paid_with_it = MoneyField(default=Decimal(0))
    rounding = MoneyField(default=Decimal(0))
    means = models.CharField(max_length=8, blank=True, choices=MEANS)
    einvoice = models.CharField(
        max_length=3, choices=Customer.EInvoice, blank=True, default=""
    )

    objects = InvoiceQuerySet.as_manager()

    class Meta:
        ordering = ["-issued_on", "-id"]
        indexes = [
            models.Index(fields=["issued_on", "id"]),
            models.Index(fields=["buyer_name"]),
            models.Index(fields=["customer", "id"], name="invoice_of_customer"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["series", "number"], name="invoice_number_once"
            ),
            # A job has one invoice in force; to issue a second one, credit the first.
            models.CheckConstraint(
                condition=Q(
                    kind="invoice",
                    credits=None,
                    is_whole=False,
                    gross__gte=0,
                    due_on__isnull=False,
                )
                | Q(
                    kind="credit",
                    credits__isnull=False,
                    gross__lte=0,
                    due_on=None,
                    deposits_used=0,
                    paid_with_it=0,
                ),
                name="invoice_or_credit_note",
            ),
            models.UniqueConstraint(
                fields=["credits"],
                condition=Q(is_whole=True),
                name="invoice_taken_back_whole_once",
            ),
            models.CheckConstraint(
                condition=Q(deposits_used__gte=0, paid_with_it__gte=0),
                name="invoice_paid_with_it_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(gross=F("net") + F("tax")), name="invoice_adds_up"
            ),
            models.CheckConstraint(
                condition=~Q(pdf_sha256=""), name="invoice_paper_is_kept"
            ),
        ]

    def get_absolute_url(self):
        return reverse("invoices:invoice", args=[self.pk])

    @property
    def is_credit_note(self) -> bool:
        return self.kind == self.Kind.CREDIT_NOTE

    @property
    def status(self) -> str:
        """Return its status in a word, in English; needs `with_balance`.

        A badge shows it in the active language.
        """
        if self.is_credit_note:
            return gettext_noop("credit note")
        if self.owed < 0:
            return gettext_noop("refund due")
        if self.is_credited:
            return gettext_noop("credited")
        return gettext_noop("open") if self.owed else gettext_noop("paid")

    def status_on(self, on: date) -> str:
        """Return its status on a day: an open invoice may be overdue."""
        return gettext_noop("overdue") if self.days_late(on) else self.status

    def days_late(self, on: date) -> int:
        """Return the days since the due date, 0 if nothing is owed; needs
        `with_balance`.
        """
        return max((on - self.due_on).days, 0) if self.owed > 0 else 0

    def party(self, role: str) -> Party:
        """Return its `buyer` or `seller` as of the day of issue."""
        names = [field.name for field in fields(Party)]
        return Party(*(getattr(self, f"{role}_{name}") for name in names))

    def set_party(self, role: str, party: Party) -> None:
        """Set the `buyer` or the `seller`."""
        for name, value in asdict(party).items():
            setattr(self, f"{role}_{name}", value)

    def totals(self) -> Totals:
        """Return the totals as of the day of issue."""
        lines = list(self.lines.all())
        return self.credit_totals(lines) if self.is_credit_note else self.sum_of(lines)

    def sum_of(self, lines: "Iterable[InvoiceLine]") -> Totals:
        """Return the totals of `lines` on this invoice."""
        return totals(
            [line.as_money() for line in lines],
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    def credit_totals(self, lines: "Iterable[InvoiceLine]") -> Totals:
        """Return the totals of a credit note with these lines."""
        credited = {line.credits_id: -line.quantity for line in lines}
        remaining = self.credits.remaining_lines(before=self)
        return self.credits.totals_of_credit(
            remaining, [credited.get(line.pk, Decimal(0)) for line in remaining]
        )

    def totals_of_credit(
        self, lines: "Sequence[InvoiceLine]", quantities: Sequence[Decimal]
    ) -> Totals:
        """Return the totals of crediting these quantities of these lines."""
        return credit_sums(
            [line.as_money() for line in lines],
            back=quantities,
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    @property
    def balance(self) -> Decimal:
        """Return the balance, read from the database; negative if a refund is due."""
        return Invoice.objects.with_balance().values_list("owed").get(pk=self.pk)[0]

    @property
    def remaining_gross(self) -> Decimal:
        """Return its total less what is credited."""
        notes = self.credit_notes.aggregate(n=Sum("gross", default=Decimal(0)))
        return self.gross + notes["n"]

    def remaining_lines(
        self, *, before: "Invoice | None" = None
    ) -> "list[InvoiceLine]":
        """Return the lines with the quantities that are not credited.

        With `before`, as they were before that credit note.
        """
        credited = InvoiceLine.objects.filter(invoice__credits=self)
        if before is not None and before.pk:
            credited = credited.filter(invoice__lt=before.pk)
        lines = {line.pk: line for line in self.lines.all()}
        for line in credited:
            lines[line.credits_id].quantity += line.quantity
        return list(lines.values())


class InvoiceLine(Line):
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    # The repair that it pays for; parts and fees may have none.
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # On a credit note: the line of the invoice that it credits.
    credits = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(Line.Meta):
        pass

    @classmethod
    def copied(cls, line: Line, **changes) -> "InvoiceLine":
        """Return a new line like `line`, except for `changes`."""
        copied = {field.name: getattr(line, field.name) for field in Line._meta.fields}
        return cls(**{**copied, "repair_id": line.repair_id, **changes})


class EInvoice(models.Model):
    """The UBL file of an invoice. Created once, never changed."""

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
