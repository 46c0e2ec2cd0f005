"""Change orders: extra work and its price, agreed by the customer after the quote.

The record covers what 16 CCR 2722 (California) requires: date and time, who agreed, the
number called, who recorded it, the extra work, and the new total.
"""

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import Line, Quote
from repairs.jobs.models import Repair
from shopdesk.fields import MoneyField
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

STAFF = settings.AUTH_USER_MODEL


class ChangeQuerySet(models.QuerySet):
    def open(self):
        """Return change orders without an answer."""
        return self.filter(answer=None)

    def agreed(self):
        return self.filter(answer__decision=ChangeAnswer.Decision.YES)

    def for_list(self):
        """Fetch what the page shows of each change order."""
        return self.select_related("quote", "recorded_by", "answer__recorded_by")


class ChangeOrder(models.Model):
    """Extra work beyond the accepted option. Rows are only added."""

    quote = models.ForeignKey(Quote, on_delete=models.PROTECT, related_name="changes")
    number = models.PositiveSmallIntegerField()
    why = models.TextField(gettext_lazy("reason for extra work"), max_length=1000)
    # All amounts include tax.
    agreed_before = MoneyField(gettext_lazy("agreed so far"))
    extra = MoneyField(gettext_lazy("extra cost"))
    new_total = MoneyField(gettext_lazy("new total"))
    made_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = ChangeQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["quote", "number"], name="change_number_once_a_quote"
            ),
            models.CheckConstraint(condition=~Q(why=""), name="change_says_why"),
            models.CheckConstraint(
                condition=Q(extra__gt=0, new_total=F("agreed_before") + F("extra")),
                name="change_adds_up",
            ),
        ]

    def __str__(self):
        return gettext("Extra work {number}, job {job}").format(
            number=self.number, job=self.quote.job.number
        )

    def get_absolute_url(self):
        return reverse("changes:for_job", args=[self.quote.job_id])

    @property
    def is_open(self) -> bool:
        return not hasattr(self, "answer")

    @property
    def status(self) -> str:
        return (
            gettext("waiting") if self.is_open else self.answer.get_decision_display()
        )

    def written_in(self, shop: Shop) -> Currency:
        return self.quote.written_in(shop)


class ChangeLine(Line):
    change = models.ForeignKey(
        ChangeOrder, on_delete=models.PROTECT, related_name="lines"
    )
    # Set if the job has a single repair: the revenue of this line is then its own.
    repair = models.ForeignKey(
        Repair, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta(Line.Meta):
        constraints = [
            *Line.Meta.constraints,
            models.CheckConstraint(
                condition=Q(quantity__gt=0, price__gte=0),
                name="change_line_not_negative",
            ),
        ]


class ChangeAnswer(models.Model):
    """The answer to a change order, when and how. Added once, never changed."""

    class Decision(models.TextChoices):
        YES = "yes", gettext_lazy("agreed")
        NO = "no", gettext_lazy("declined")
        WITHDRAWN = "withdrawn", gettext_lazy("withdrawn")

    change = models.OneToOneField(
        ChangeOrder, on_delete=models.PROTECT, related_name="answer"
    )
    decision = models.CharField(max_length=9, choices=Decision)
    who = models.CharField(gettext_lazy("answered by"), max_length=120)
    how = models.CharField(max_length=8, choices=Quote.How, blank=True)
    reached_at = models.CharField(
        gettext_lazy("phone number or email address used"), max_length=120, blank=True
    )
    given_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        STAFF, null=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.CharField(gettext_lazy("reason"), max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(decision="withdrawn") | (~Q(who="") & ~Q(how="")),
                name="change_answer_says_who_and_how",
            ),
            models.CheckConstraint(
                condition=Q(decision__in=["withdrawn", "no"])
                | ~Q(how__in=["phone", "email"])
                | ~Q(reached_at=""),
                name="change_answer_says_where_reached",
            ),
        ]

    def __str__(self):
        return f"{self.change}: {self.get_decision_display()}"
