"""Invoices, credit notes and reminders. Frozen once issued: a mistake is credited."""

from collections.abc import Iterable, Sequence
from datetime import date
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

from billing.invoices.credit_sums import credit_sums
from billing.invoices.models.numbered import Numbered, NumberedQuerySet
from billing.quotes.models import Line, Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job, Repair
from shopdesk.fields import MoneyField
from shopdesk.money import Totals, totals
from shopdesk.papers.models import StoredPdf
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL
MEANS = [("cash", "cash"), ("card", "card"), ("transfer", "bank transfer")]
"""How money comes over the counter."""
SETTLES = ExpressionWrapper(F("amount") + F("rounding"), output_field=MoneyField())
"""What a payment takes off an invoice: the money, and what cash rounding added."""
ZERO = Value(Decimal(0), output_field=MoneyField())


def _sum_of(name: str, field):
    """The sum of `field` over the rows of an invoice, zero if there are none.

    `name` is how the invoice calls those rows.
    """
    relation = Invoice._meta.get_field(name)
    key = relation.field.name
    rows = relation.related_model.objects.filter(**{key: OuterRef("pk")})
    summed = rows.order_by().values(key).annotate(n=Sum(field))
    return Coalesce(Subquery(summed.values("n"), output_field=MoneyField()), ZERO)


class InvoiceQuerySet(NumberedQuerySet):
    def search(self, words: str):
        """Those that `words` may mean: by number, or by the name on them or on record.

        Each way is looked up by itself, so that no paper is read over for it.
        """
        meant = Q(pk__in=self.model.objects.numbered_like(words).values("pk"))
        if any(character.isalpha() for character in words):
            named = self.model.objects.filter(buyer_name__icontains=words)
            meant |= Q(pk__in=named.order_by().values("pk"))
            people = Customer.objects.called(words)
            meant |= Q(customer__in=people.order_by().values("pk"))
        return self.filter(meant).best_of(words)

    def with_balance(self):
        """With `owed`: what is left to pay, negative where the shop owes.

        A credit note owes nothing of its own: it lowers what its invoice asks. Once a
        bill is taken back as a whole, the fees of its reminders are not asked either.
        """
        notes = Invoice.objects.filter(credits=OuterRef("pk"))
        seen = self.annotate(
            is_credited=Exists(notes.filter(is_whole=True)),
            is_credited_in_part=Exists(notes),
            fees=_sum_of("reminders", "fee"),
        )
        left = ExpressionWrapper(
            F("gross")
            + _sum_of("credit_notes", "gross")
            + Case(
                When(is_credited=True, then=ZERO),
                default=F("fees"),
                output_field=MoneyField(),
            )
            - _sum_of("payments", SETTLES),
            output_field=MoneyField(),
        )
        return seen.annotate(
            owed=Case(
                When(kind=Invoice.Kind.CREDIT_NOTE, then=ZERO),
                default=left,
                output_field=MoneyField(),
            )
        )

    def for_list(self):
        """With all that one row of a list of invoices shows; the papers stay behind."""
        return self.defer("pdf").with_balance().select_related("job")

    def unsettled(self):
        """Those with something to pay, by the customer or back to the customer."""
        return self.with_balance().exclude(owed=0)

    def settled(self):
        return self.with_balance().filter(owed=0, kind=Invoice.Kind.INVOICE)

    def overdue(self, on: date):
        """Those whose customer still owes something on the day after they were due."""
        return self.with_balance().filter(owed__gt=0, due_on__lt=on)

    def standing(self):
        """Bills that no credit note took back as a whole."""
        return self.filter(kind=Invoice.Kind.INVOICE).exclude(
            credit_notes__is_whole=True
        )


class Invoice(Numbered, StoredPdf):
    """An invoice or a credit note, with the buyer as they were on the day."""

    class Kind(models.TextChoices):
        INVOICE = "invoice", "invoice"
        CREDIT_NOTE = "credit", "credit note"

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
    due_on = models.DateField("to be paid by", null=True)
    issued_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    currency = models.CharField(max_length=3)
    prices_include_tax = models.BooleanField(default=False)
    net = MoneyField()
    tax = MoneyField()
    gross = MoneyField()
    words = models.TextField(max_length=2000, blank=True)
    # A credit note that took back all that was left of its bill.
    is_whole = models.BooleanField(default=False)
    # What was there before and what was paid as it was issued stands on the paper;
    # later payments do not. Rounding to coins is counted as a payment counts it.
    deposited = MoneyField(default=Decimal(0))
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
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["series", "number"], name="invoice_number_once"
            ),
            # A job is billed once; a second bill needs the first one credited.
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
                    deposited=0,
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
                condition=Q(deposited__gte=0, paid_with_it__gte=0),
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
    def standing(self) -> str:
        """Where it stands, in a word; of a row that came `with_balance`."""
        if self.is_credit_note:
            return self.get_kind_display()
        if self.owed < 0:
            return "refund due"
        if self.is_credited:
            return "credited"
        return "open" if self.owed else "paid"

    def standing_on(self, on: date) -> str:
        """Where it stands on a day: one that is owed may be overdue."""
        return "overdue" if self.days_late(on) else self.standing

    def days_late(self, on: date) -> int:
        """Days since the last one on which it was in time; of a row `with_balance`."""
        return max((on - self.due_on).days, 0) if self.owed > 0 else 0

    def written_in(self, shop: Shop) -> Currency:
        """The currency of the bill, as the shop writes amounts."""
        return Currency(self.currency, shop.locale)

    @property
    def places(self) -> int:
        """The decimals of its currency."""
        return Currency(self.currency, "").places

    def totals(self) -> Totals:
        """The sums under the lines, as they were when it was issued."""
        lines = list(self.lines.all())
        return self.credit_totals(lines) if self.is_credit_note else self.sum_of(lines)

    def sum_of(self, lines: "Iterable[InvoiceLine]") -> Totals:
        """What `lines` come to on this invoice."""
        return totals(
            [line.as_money() for line in lines],
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    def credit_totals(self, lines: "Iterable[InvoiceLine]") -> Totals:
        """The totals of a credit note with these lines."""
        gone = {line.takes_back_id: -line.quantity for line in lines}
        stood = self.credits.standing_lines(before=self)
        return self.credits.totals_taking_back(
            stood, [gone.get(line.pk, Decimal(0)) for line in stood]
        )

    def totals_taking_back(
        self, lines: "Sequence[InvoiceLine]", back: Sequence[Decimal]
    ) -> Totals:
        """What crediting `back` so much of each of these lines comes to."""
        return credit_sums(
            [line.as_money() for line in lines],
            back=back,
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    @property
    def balance(self) -> Decimal:
        """What is still owed, as the database has it now; negative: the shop owes."""
        return Invoice.objects.with_balance().values_list("owed").get(pk=self.pk)[0]

    def standing_lines(self, *, before: "Invoice | None" = None) -> "list[InvoiceLine]":
        """The lines with what no credit note took back of them.

        With `before`, as it was when that credit note was made.
        """
        notes = self.credit_notes.defer("pdf")
        if before is not None and before.pk:
            notes = notes.filter(pk__lt=before.pk)
        gone: dict[int, Decimal] = {}
        for line in InvoiceLine.objects.filter(invoice__in=notes):
            gone[line.takes_back_id] = gone.get(line.takes_back_id, 0) + line.quantity
        lines = list(self.lines.all())
        for line in lines:
            line.quantity += gone.get(line.pk, Decimal(0))
        return lines


class InvoiceLine(Line):
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    # Whose work it pays for; parts and fees may belong to none.
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # Of a credit note: the line of the bill that it takes back.
    takes_back = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(Line.Meta):
        pass

    @classmethod
    def copied(cls, line: Line, **changes) -> "InvoiceLine":
        """A new line that says and asks what `line` does, but for `changes`."""
        same = ("kind", "text", "quantity", "price", "tax_kind", "tax_rate")
        facts = {name: getattr(line, name) for name in (*same, "tax_reason")}
        return cls(**{**facts, "repair_id": line.repair_id, **changes})


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
