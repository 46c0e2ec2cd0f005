"""Bills and the money taken on them. Frozen once issued: a mistake is credited.

All of it stands in one file since what is owed rests on all of it: bills, the credit
notes against them, payments, and what reminders ask besides.
"""

from collections.abc import Iterable
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
from django.utils.translation import gettext

from billing.einvoice import en16931
from billing.invoices.credit_sums import credit_sums
from billing.quotes.models import Line, Quote
from repairs.customers.models import Customer
from repairs.jobs.models import Job, Repair
from shopdesk.fields import MoneyField
from shopdesk.lookup import rank_matches
from shopdesk.money import Totals, totals
from shopdesk.papers.models import KeptPaper
from shopdesk.shop import numbering
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL
MEANS = [("cash", "cash"), ("card", "card"), ("transfer", "bank transfer")]
"""How money comes over the counter."""
MOVED = "moved"
"""Money that was here already and only changes books."""
LET_GO = "let_go"
"""No money: the fee of a reminder that the shop does not ask for any longer."""


SETTLES = ExpressionWrapper(F("amount") + F("rounding"), output_field=MoneyField())
"""What a payment takes off a bill: the money, and what was rounded to whole coins."""


def _sum_of(rows, of: str, field):
    """The sum of `field` over the rows of an invoice, nothing being zero."""
    summed = rows.filter(**{of: OuterRef("pk")}).order_by().values(of)
    return Coalesce(
        Subquery(summed.annotate(n=Sum(field)).values("n"), output_field=MoneyField()),
        _nought(),
    )


def _nought():
    return Value(Decimal(0), output_field=MoneyField())


class NumberedQuerySet(models.QuerySet):
    """Papers with a series and a number in it."""

    def numbered(self, text: str):
        """The one of this number, however it is written: `INV26-00042`, `inv26 42`."""
        read = numbering.read(text)
        return self.filter(series=read[0], number=read[1]) if read else self.none()

    def numbered_like(self, text: str):
        """Those whose number `text` may be a part of."""
        part = numbering.read_part(text)
        if part is None:
            return self.none()
        return self.filter(series__contains=part[0], number__contains=part[1])

    def search(self, words: str):
        """Those whose number `words` may mean, the latest first."""
        return self.numbered_like(words).best_of(words)

    def best_of(self, words: str):
        """These, with those of the number that `words` are before all others."""
        whole, part = numbering.read(words), numbering.read_part(words)
        nothing = Q(pk__in=[])
        return rank_matches(
            self,
            exact=Q(series=whole[0], number=whole[1]) if whole else nothing,
            begins=Q(number=int(part[1])) if part and part[1] else nothing,
            then=["-pk"],
        )


class ReceiptQuerySet(NumberedQuerySet):
    def for_list(self):
        """With all that one row of a list shows; the papers stay behind."""
        return self.defer("paper").select_related("payment__job__customer")


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
            fees=_sum_of(Reminder.objects.all(), "invoice", "fee"),
        )
        left = ExpressionWrapper(
            F("gross")
            + _sum_of(Invoice.objects.all(), "credits", "gross")
            + Case(
                When(is_credited=True, then=_nought()),
                default=F("fees"),
                output_field=MoneyField(),
            )
            - _sum_of(Payment.objects.all(), "invoice", SETTLES),
            output_field=MoneyField(),
        )
        return seen.annotate(
            owed=Case(
                When(kind=Invoice.Kind.CREDIT_NOTE, then=_nought()),
                default=left,
                output_field=MoneyField(),
            )
        )

    def for_list(self):
        """With all that one row of a list of invoices shows; the papers stay behind."""
        return self.defer("paper").with_balance().select_related("job")

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


class Invoice(KeptPaper):
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

    def __str__(self):
        return self.full_number

    def get_absolute_url(self):
        return reverse("invoices:invoice", args=[self.pk])

    @property
    def full_number(self) -> str:
        return numbering.full_number(self.series, self.number)

    @property
    def is_credit_note(self) -> bool:
        return self.kind == self.Kind.CREDIT_NOTE

    @property
    def standing(self) -> str:
        """Where it stands, in a word; of a row that came `with_balance`."""
        if self.is_credit_note:
            return self.get_kind_display()
        if self.owed < 0:
            return "owed back"
        if self.is_credited:
            return "credited"
        return "owed" if self.owed else "paid"

    def standing_on(self, on: date) -> str:
        """Where it stands on a day: one that is owed may be overdue."""
        return "overdue" if self.days_late(on) else self.standing

    def days_late(self, on: date) -> int:
        """Days since the last one on which it was in time; of a row `with_balance`."""
        return max((on - self.due_on).days, 0) if self.owed > 0 else 0

    def written_in(self, shop: Shop) -> Currency:
        """The currency of the bill, as the shop writes amounts."""
        return Currency(self.currency, shop.locale)

    def totals(self) -> Totals:
        """The sums under the lines, as they were when it was issued."""
        if self.is_credit_note:
            return self._totals_of_note(list(self.lines.all()))
        return totals(
            [line.as_money() for line in self.lines.all()],
            places=Currency(self.currency, "").places,
            prices_include_tax=self.prices_include_tax,
        )

    def _totals_of_note(self, lines: "list[InvoiceLine]") -> Totals:
        """What is taken back: what stood of the bill less what stands after."""
        stood = self.credits.standing_lines(before=self)
        gone = {line.takes_back_id: -line.quantity for line in lines}
        return credit_sums(
            [line.as_money() for line in stood],
            back=[gone.get(line.pk, Decimal(0)) for line in stood],
            places=Currency(self.currency, "").places,
            prices_include_tax=self.prices_include_tax,
        )

    def as_einvoice(self, lines: Iterable["InvoiceLine"]) -> en16931.Bill:
        """The bill as an e-invoice tells it: from what was written down, and no more.

        What was paid later is not in it, nor what the shop is called today.
        """
        credited = self.credits
        lines = list(lines)
        return en16931.Bill(
            number=self.full_number,
            issued_on=self.issued_on,
            supplied_on=self.supplied_on,
            seller=en16931.Party(
                self.seller_name,
                self.seller_address,
                self.seller_country,
                self.seller_tax_id,
            ),
            buyer=en16931.Party(
                self.buyer_name,
                self.buyer_address,
                self.buyer_country,
                self.buyer_tax_id,
            ),
            currency=self.currency,
            places=Currency(self.currency, "").places,
            lines=[
                en16931.Line(
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
            due_on=self.due_on,
            paid=self.deposited + self.paid_with_it,
            rounding=-self.rounding,
            means=self.means,
            said=self._totals_of_note(lines) if credited else None,
            credits=(credited.full_number, credited.issued_on) if credited else None,
            notes=[self.words],
            reasons={
                line.tax_category: line.tax_reason and gettext(line.tax_reason)
                for line in lines
            },
        )

    @property
    def balance(self) -> Decimal:
        """What is still owed, as the database has it now; negative: the shop owes."""
        return Invoice.objects.with_balance().values_list("owed").get(pk=self.pk)[0]

    def standing_lines(self, *, before: "Invoice | None" = None) -> "list[InvoiceLine]":
        """The lines with what no credit note took back of them.

        With `before`, as it was when that credit note was made.
        """
        notes = self.credit_notes.defer("paper")
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


class PaymentQuerySet(models.QuerySet):
    def total(self) -> Decimal:
        """What they take off bills together."""
        return self.aggregate(n=Sum(SETTLES))["n"] or Decimal(0)

    def deposits(self):
        """Money on a job that stands on no bill."""
        return self.filter(invoice=None)

    def over_the_counter(self):
        """Money that came or went, not what was only moved or let go in the books."""
        return self.filter(means__in=dict(MEANS))


class Payment(models.Model):
    """Money in, or out as a negative amount, on a job and its bill. Never changed.

    One without a bill is a deposit. When the job is billed, the deposit is moved to the
    bill by two rows that add up to nothing.
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
    # What was let go, or taken too much, for want of small coins: with it the amount
    # is what comes off the bill.
    rounding = MoneyField(default=Decimal(0))
    currency = models.CharField(max_length=3)
    means = models.CharField(
        "how", max_length=8, choices=[*MEANS, (MOVED, "moved over"), (LET_GO, "let go")]
    )
    words = models.CharField("what for", max_length=200, blank=True)
    # Made with the form: the same form sent twice is one payment.
    key = models.UUIDField(unique=True)
    paid_on = models.DateField()
    # The day of the till it is counted on: later, where that day was closed already.
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
                condition=Q(means__in=[*dict(MEANS), MOVED, LET_GO]),
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
        """What comes off the bill by it."""
        return self.amount + self.rounding

    def written_in(self, shop: Shop) -> Currency:
        return Currency(self.currency, shop.locale)


class Receipt(KeptPaper):
    """The paper for money taken or paid back without a bill. Never changed."""

    payment = models.OneToOneField(
        Payment, on_delete=models.PROTECT, related_name="receipt"
    )
    series = models.CharField(max_length=12)
    number = models.PositiveIntegerField()

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

    def __str__(self):
        return self.full_number

    def get_absolute_url(self):
        """Where it stands among all the money of its job."""
        return f"{reverse('invoices:for_job', args=[self.payment.job_id])}#money"

    @property
    def full_number(self) -> str:
        return numbering.full_number(self.series, self.number)


class Reminder(KeptPaper):
    """A letter that a bill is overdue: the first, the second … Never changed."""

    invoice = models.ForeignKey(
        Invoice, on_delete=models.PROTECT, related_name="reminders"
    )
    level = models.PositiveSmallIntegerField()
    reminded_on = models.DateField()
    fee = MoneyField(default=Decimal(0))
    # What was owed on that day, this fee included.
    owed = MoneyField()
    words = models.TextField(max_length=2000, blank=True)
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
        return f"reminder {self.level} of {self.invoice}"
