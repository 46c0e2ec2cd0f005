"""Offers: a quote, its alternatives, and what each is made of.

A quote is frozen once it is sent: its paper is kept byte for byte, and the database
refuses to change its options and lines (see the triggers in the first migration).
"""

import re
from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse

from billing.pricing.currency import Currency
from billing.quotes import states
from billing.quotes.known import NEVER, one_in
from repairs.faults import declared
from repairs.faults.models import Fix
from repairs.jobs import states as job_states
from repairs.jobs.models import Job, Repair
from repairs.stock.models import Part
from shopdesk import money
from shopdesk.fields import ExactField, MoneyField, best_first
from shopdesk.printing import in_all_paper_languages
from shopdesk.shop import tax
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL


VERSIONED = re.compile(
    r"(\S+?)(?:[\s,]+(?:version|v)[\s.]*|/)([0-9]{1,4})", re.ASCII | re.IGNORECASE
)
"""A job's number with the version of its quote."""


class QuoteQuerySet(models.QuerySet):
    def for_rows(self):
        """With all that one row of a list of quotes shows; the papers stay behind."""
        return (
            self.defer("paper")
            .select_related("job__customer", "job__device__model", "chosen")
            .prefetch_related("options__lines")
        )

    def as_found(self):
        """With all that a line of what was found shows."""
        return self.defer("paper").select_related("job__customer", "job__device__model")

    def numbered(self, text: str):
        """The one version that `text` names: `26-00412 version 2`, `26-00412/2`."""
        named = VERSIONED.fullmatch(text.strip())
        if not named:
            return self.none()
        jobs = Job.objects.numbered(named[1]).order_by()
        return self.filter(job__in=jobs.values("pk"), version=int(named[2]))

    def sought(self, words: str):
        """Those whose number `words` may mean, those that hold before the replaced."""
        named = VERSIONED.fullmatch(words)
        number = named[1] if named else words
        jobs = Job.objects.filter(number__icontains=number).order_by()
        found = self.filter(job__in=jobs.values("pk"))
        if named:
            found = found.filter(version=int(named[2]))
        return best_first(
            found,
            exact=Q(job__number__iexact=number) if named else Q(pk__in=[]),
            begins=~Q(state=states.REPLACED),
            then=["-pk"],
        )

    def live(self):
        """Those that no later version took the place of."""
        return self.exclude(state=states.REPLACED)

    def drafts(self):
        return self.filter(state=states.DRAFT)

    def waiting(self, on: date):
        """Sent, and the customer may still say yes."""
        return self.filter(state=states.SENT, valid_until__gte=on)

    def expired(self, on: date):
        """Sent, and not answered in time."""
        return self.filter(state=states.SENT, valid_until__lt=on)

    def answered(self):
        return self.filter(state__in=[states.ACCEPTED, states.DECLINED])


class Quote(models.Model):
    """One version of an offer for a job."""

    class How(models.TextChoices):
        COUNTER = "counter", "at the counter"
        PHONE = "phone", "by telephone"
        EMAIL = "email", "by email"
        LINK = "link", "by the link"
        SCREEN = "screen", "on the counter’s screen"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="quotes")
    version = models.PositiveSmallIntegerField(editable=False)
    state = models.CharField(
        max_length=8, choices=states.CHOICES, default=states.DRAFT, editable=False
    )
    words = models.TextField(
        "words to the customer",
        max_length=2000,
        blank=True,
        help_text="What was found, in plain words.",
    )
    valid_until = models.DateField(null=True, blank=True, editable=False)
    prices_include_tax = models.BooleanField(default=False, editable=False)
    currency = models.CharField(max_length=3, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    sent_at = models.DateTimeField(null=True, blank=True, editable=False)
    chosen = models.ForeignKey(
        "Option",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        editable=False,
    )
    answered_at = models.DateTimeField(null=True, blank=True, editable=False)
    answered_how = models.CharField(max_length=8, choices=How, blank=True, default="")
    answered_by = models.CharField("who said so", max_length=120, blank=True)
    answer_why = models.CharField("reason", max_length=500, blank=True)
    paper = models.BinaryField(null=True, editable=False)
    paper_hash = models.CharField(max_length=64, blank=True, editable=False)

    objects = QuoteQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "version"], name="quote_version_once_a_job"
            ),
            models.UniqueConstraint(
                fields=["job"],
                condition=Q(state=states.ACCEPTED),
                name="quote_one_accepted_a_job",
            ),
            models.CheckConstraint(
                condition=Q(state__in=list(states.LABELS)), name="quote_state_is_known"
            ),
            models.CheckConstraint(
                condition=~Q(state__in=[states.SENT, states.ACCEPTED, states.DECLINED])
                | (
                    Q(sent_at__isnull=False, valid_until__isnull=False)
                    & ~Q(paper_hash="")
                ),
                name="quote_sent_is_kept",
            ),
            models.CheckConstraint(
                condition=~Q(state=states.ACCEPTED)
                | (
                    Q(chosen__isnull=False, answered_at__isnull=False)
                    & ~Q(answered_how="")
                    & ~Q(answered_by="")
                ),
                name="quote_accepted_says_what_and_who",
            ),
        ]

    def __str__(self):
        return f"{self.job.number} version {self.version}"

    def get_absolute_url(self):
        return reverse("quotes:quote", args=[self.pk])

    @property
    def is_draft(self) -> bool:
        return self.state == states.DRAFT

    @property
    def is_sent(self) -> bool:
        """With the customer, and not answered."""
        return self.state == states.SENT

    def is_expired(self, on: date) -> bool:
        """Whether a yes would come too late on the day `on`."""
        return self.is_sent and on > self.valid_until

    @property
    def is_withdrawn(self) -> bool:
        """Sent, but the bench took the job back: no yes binds it any more."""
        return self.is_sent and self.job.state != job_states.QUOTED

    def standing(self, on: date) -> str:
        """The state in a word, with what the calendar and the bench add to it."""
        if self.is_withdrawn:
            return "withdrawn"
        return "expired" if self.is_expired(on) else self.get_state_display()

    def written_in(self, shop: Shop) -> Currency:
        """The currency the quote was written in, as the shop writes amounts."""
        return Currency(self.currency, shop.locale)

    def step(self, new: str, **changes) -> None:
        """The only writer of `state`: judged on what the database says now."""
        states.check_step(self.state, new)
        moved = Quote.objects.filter(pk=self.pk, state=self.state).update(
            state=new, **changes
        )
        if not moved:
            raise states.WrongStep("Someone else changed this quote just now.")
        self.refresh_from_db()


class Option(models.Model):
    """One of the alternatives of a quote: what is done, and its cover."""

    class Does(models.TextChoices):
        REPAIR = "repair", "repair"
        REPLACE = "replace", "replace the board"
        RETURN = "return", "give it back unmended"

    quote = models.ForeignKey(Quote, on_delete=models.CASCADE, related_name="options")
    position = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=120)
    words = models.TextField("what it means", max_length=1000, blank=True)
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    declared = models.CharField(
        max_length=7, choices=declared.CHOICES, blank=True, default=""
    )
    cover_days = models.PositiveSmallIntegerField("days of cover", default=0)
    days_to_do = models.PositiveSmallIntegerField("days it takes", default=3)
    does = models.CharField(
        "what is done", max_length=7, choices=Does, default=Does.REPAIR
    )
    # What the record knows of it, as the customer reads it.
    known = models.CharField("what is known of it", max_length=300, blank=True)
    # What the price was reckoned from. Never shown to the customer.
    planned_minutes = models.PositiveIntegerField(null=True, blank=True, editable=False)
    own_cost = MoneyField(null=True, blank=True, editable=False)
    redo_cost = MoneyField(null=True, blank=True, editable=False)
    chance = ExactField("chance of a comeback", null=True, blank=True, editable=False)
    reserve = MoneyField("comeback reserve", null=True, blank=True, editable=False)
    list_price = MoneyField(null=True, blank=True, editable=False)
    floor = MoneyField(null=True, blank=True, editable=False)
    why_changed = models.CharField(
        "why the price differs from the one suggested", max_length=200, blank=True
    )

    class Meta:
        ordering = ["position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["quote", "position"], name="option_position_once"
            ),
            models.CheckConstraint(condition=~Q(title=""), name="option_has_title"),
            models.CheckConstraint(
                condition=Q(declared__in=["", *declared.LABELS]),
                name="option_declared_is_known",
            ),
        ]

    def __str__(self):
        return self.title

    @property
    def is_lasting(self) -> bool:
        return self.declared == declared.LASTING

    @property
    def is_stopgap(self) -> bool:
        return self.declared == declared.STOPGAP

    @property
    def is_return(self) -> bool:
        """Whether nothing is mended."""
        return self.does == self.Does.RETURN

    @property
    def is_board(self) -> bool:
        return self.does == self.Does.REPLACE

    @property
    def suggested(self) -> Decimal | None:
        """What was suggested for all of it; None where nothing was."""
        if self.list_price is None:
            return None
        return max(self.list_price, self.floor or Decimal(0))

    @property
    def is_raised(self) -> bool:
        """Whether comebacks make it dearer than the list has it."""
        return self.suggested is not None and self.suggested > self.list_price

    @property
    def has_no_history(self) -> bool:
        """Whether the chance is that of the whole shop."""
        return any(said in self.known for said in in_all_paper_languages(NEVER))

    @property
    def one_in(self) -> str:
        """The chance of a comeback while covered, as one in so many."""
        return one_in(float(self.chance)) if self.chance else ""

    def above_suggested(
        self, lines: Iterable["QuoteLine"] | None = None
    ) -> Decimal | None:
        """What is charged more than suggested; below nought, less. What the desk added
        by its own price counts on both sides.
        """
        if self.suggested is None:
            return None
        lines = self.lines.all() if lines is None else lines
        theirs = [line for line in lines if line.suggested is not None]
        return sum((line.amount for line in theirs), Decimal(0)) - self.suggested

    def totals(self, *, places: int) -> money.Totals:
        """What stands under the lines of this option."""
        return self.totals_of(self.lines.all(), places=places)

    def totals_of(self, lines: Iterable["QuoteLine"], *, places: int) -> money.Totals:
        """What would stand under `lines`, were they those of this option."""
        return money.totals(
            [line.as_money() for line in lines],
            places=places,
            prices_include_tax=self.quote.prices_include_tax,
        )


class LineKind(models.TextChoices):
    LABOUR = "labour", "labour"
    PART = "part", "part"
    FEE = "fee", "fee"


class Line(models.Model):
    """What quote and invoice lines share: text and price copied when written."""

    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=6, choices=LineKind)
    text = models.CharField(max_length=200)
    quantity = ExactField(default=Decimal(1))
    price = MoneyField("price of one")
    amount = MoneyField(editable=False)
    tax_kind = models.CharField(
        "tax", max_length=8, choices=tax.KINDS, default=tax.STANDARD
    )
    tax_rate = ExactField("tax in percent", editable=False)
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
        """The category of EN 16931 (UNCL 5305)."""
        return tax.CATEGORY[self.tax_kind]

    def set_tax(self, held: tax.Tax) -> None:
        """Write down what holds; it stays so when the shop's rates change."""
        self.tax_kind, self.tax_rate, self.tax_reason = (
            held.kind,
            held.rate,
            held.reason,
        )

    def reckon(self, *, places: int) -> None:
        """Fill in what follows from quantity, price and tax."""
        self.amount = money.line_amount(self.as_money(), places=places)

    def as_money(self) -> money.Line:
        return money.Line(
            self.quantity,
            self.price,
            self.tax_rate,
            self.tax_category,
            self.tax_reason,
        )


class QuoteLine(Line):
    option = models.ForeignKey(Option, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(
        Part, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # Labour says which fault it puts right and by which fix, so that a yes can tell
    # the bench, also where an option deals with several faults.
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    fix = models.ForeignKey(
        Fix, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    # What the rates suggested, beside what was asked in the end.
    suggested = MoneyField(null=True, blank=True, editable=False)

    class Meta(Line.Meta):
        constraints = [
            *Line.Meta.constraints,
            models.CheckConstraint(
                condition=Q(quantity__gt=0, price__gte=0),
                name="quote_line_not_negative",
            ),
        ]
