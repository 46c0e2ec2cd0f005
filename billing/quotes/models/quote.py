"""A quote: versions, states, answer.

A quote is frozen once it is sent: its paper is stored byte for byte, and the database
refuses to change its options and lines (see `billing/guards.py`).
"""

import re
from collections.abc import Iterable
from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from billing.quotes import states
from repairs.jobs import states as job_states
from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.errors import StaleError
from shopdesk.lookup import rank_matches
from shopdesk.papers.models import StoredPdf
from shopdesk.shop import currencies
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL

VERSIONED = re.compile(
    r"(\S+?)(?:[\s,]+(?:version|v)[\s.]*|/)([0-9]{1,4})", re.ASCII | re.IGNORECASE
)
"""A job's number with the version of its quote."""


class QuoteQuerySet(models.QuerySet):
    def for_list(self):
        """Fetch what one row of a list shows; papers are not loaded."""
        return (
            self.defer("pdf")
            .select_related("job__customer", "job__device__model", "accepted_option")
            .prefetch_related("options__lines")
        )

    def as_found(self):
        """Fetch what one search result shows."""
        return self.defer("pdf").select_related("job__customer", "job__device__model")

    def with_number(self, text: str):
        """Return the version that `text` names: `26-00412 version 2`, `26-00412/2`."""
        named = VERSIONED.fullmatch(text.strip())
        if not named:
            return self.none()
        jobs = Job.objects.with_number(named[1]).order_by()
        return self.filter(job__in=jobs.values("pk"), version=int(named[2]))

    def search(self, words: str):
        """Return quotes whose number matches, current versions before replaced ones."""
        named = VERSIONED.fullmatch(words)
        number = named[1] if named else words
        jobs = Job.objects.numbered_like(number).order_by()
        found = self.filter(job__in=jobs.values("pk"))
        if named:
            found = found.filter(version=int(named[2]))
        return rank_matches(
            found,
            exact=Q(job__number__iexact=number) if named else Q(pk__in=[]),
            begins=~Q(state=states.REPLACED),
            then=["-pk"],
        )

    def live(self):
        """Return those that no later version has replaced."""
        return self.exclude(state=states.REPLACED)

    def drafts(self):
        return self.filter(state=states.DRAFT)

    def waiting(self, on: date):
        """Return sent quotes that can still be accepted on the day `on`."""
        return self.filter(state=states.SENT, valid_until__gte=on)

    def expired(self, on: date):
        """Return sent quotes that were not answered in time."""
        return self.filter(state=states.SENT, valid_until__lt=on)

    def answered(self):
        return self.filter(state__in=[states.ACCEPTED, states.DECLINED])


class Quote(StoredPdf):
    """One version of the quote for a job."""

    class How(models.TextChoices):
        COUNTER = "counter", gettext_lazy("at the counter")
        PHONE = "phone", gettext_lazy("by phone")
        EMAIL = "email", gettext_lazy("by email")
        LINK = "link", gettext_lazy("online")
        SCREEN = "screen", gettext_lazy("on the counter screen")

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="quotes")
    version = models.PositiveSmallIntegerField(editable=False)
    state = models.CharField(
        max_length=8, choices=states.CHOICES, default=states.DRAFT, editable=False
    )
    findings = models.TextField(
        gettext_lazy("findings"),
        max_length=2000,
        blank=True,
        help_text=gettext_lazy("For the customer, in plain words."),
    )
    valid_until = models.DateField(null=True, blank=True, editable=False)
    prices_include_tax = models.BooleanField(default=False, editable=False)
    currency = models.CharField(max_length=3, editable=False)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+", editable=False
    )
    sent_at = models.DateTimeField(null=True, blank=True, editable=False)
    accepted_option = models.ForeignKey(
        "QuoteOption",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        editable=False,
    )
    answered_at = models.DateTimeField(null=True, blank=True, editable=False)
    answered_how = models.CharField(max_length=8, choices=How, blank=True, default="")
    answered_by = models.CharField(
        gettext_lazy("answered by"), max_length=120, blank=True
    )
    answer_why = models.CharField(gettext_lazy("reason"), max_length=500, blank=True)
    pdf = models.BinaryField(null=True, editable=False)
    pdf_sha256 = models.CharField(max_length=64, blank=True, editable=False)

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
                    & ~Q(pdf_sha256="")
                ),
                name="quote_sent_is_kept",
            ),
            models.CheckConstraint(
                condition=~Q(state=states.ACCEPTED)
                | (
                    Q(accepted_option__isnull=False, answered_at__isnull=False)
                    & ~Q(answered_how="")
                    & ~Q(answered_by="")
                ),
                name="quote_accepted_says_what_and_who",
            ),
        ]

    def __str__(self):
        return gettext("{number} version {version}").format(
            number=self.job.number, version=self.version
        )

    def get_absolute_url(self):
        return reverse("quotes:quote", args=[self.pk])

    @property
    def is_draft(self) -> bool:
        return self.state == states.DRAFT

    @property
    def is_sent(self) -> bool:
        """Whether it was sent and is not answered yet."""
        return self.state == states.SENT

    def is_expired(self, on: date) -> bool:
        """Whether it is too late to accept it on the day `on`."""
        return self.is_sent and on > self.valid_until

    @property
    def is_withdrawn(self) -> bool:
        """Whether the job went back to diagnosis, so that it can't be accepted."""
        return self.is_sent and self.job.state != job_states.QUOTED

    def status(self, on: date) -> str:
        """Return the state in a word: also withdrawn or expired."""
        if self.is_withdrawn:
            return gettext("withdrawn")
        return gettext("expired") if self.is_expired(on) else self.get_state_display()

    def written_in(self, shop: Shop) -> Currency:
        """Return the quote's currency, with the shop's way of writing amounts."""
        return Currency(self.currency, shop.locale)

    @property
    def places(self) -> int:
        """Return the decimals of the quote's currency."""
        return currencies.places(self.currency)

    def totals_of(self, lines: Iterable) -> money.Totals:
        """Return the totals of `lines` on the terms of this quote."""
        return money.totals(
            [line.as_money() for line in lines],
            places=self.places,
            prices_include_tax=self.prices_include_tax,
        )

    def transition(self, new: str, **changes) -> None:
        """Change `state`, if it is still the one this object has. Nothing else writes
        it.
        """
        states.check_transition(self.state, new)
        moved = Quote.objects.filter(pk=self.pk, state=self.state).update(
            state=new, **changes
        )
        if not moved:
            raise StaleError(
                gettext("Someone else changed this quote. Reload the page.")
            )
        self.refresh_from_db()
