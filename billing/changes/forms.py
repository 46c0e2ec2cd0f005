"""Forms by which staff record extra work and its answer."""

from datetime import date, datetime

from django import forms
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from billing.changes.models import ChangeAnswer, ChangeLine
from billing.quotes.forms import LineForm
from billing.quotes.models import LineKind, Quote
from shopdesk.fields import DayFormField

LINES = 5
"""Rows on the form; more extra work needs a new quote."""

Decision = ChangeAnswer.Decision
ASK = "ask"
# Online and on the counter screen the customer answers without staff.
HOW_STAFF_HEARD = [
    (how.value, how.label)
    for how in (Quote.How.COUNTER, Quote.How.PHONE, Quote.How.EMAIL)
]
REACHED = (Quote.How.PHONE, Quote.How.EMAIL)


class ChangeReasonForm(forms.Form):
    why = forms.CharField(
        label=gettext_lazy("Reason for extra work"),
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy(
            "Shown to the customer: what was found and why it costs more."
        ),
    )


class ChangeLineForm(LineForm):
    class Meta(LineForm.Meta):
        model = ChangeLine


def line_forms(data, *, taxes, places):
    """Return a form for each row. Blank rows are ignored."""
    return [
        ChangeLineForm(
            data,
            instance=ChangeLine(position=n),
            initial={"kind": LineKind.PART, "quantity": 1},
            prefix=f"line{n}",
            places=places,
            taxes=taxes,
            name=gettext("line {n}").format(n=n),
            empty_permitted=n > 1,
            use_required_attribute=n == 1,
        )
        for n in range(1, LINES + 1)
    ]


class ChangeAnswerForm(forms.Form):
    """The customer's answer, when and how; perhaps “Not asked yet”."""

    decision = forms.ChoiceField(label=gettext_lazy("Answer"), widget=forms.RadioSelect)
    who = forms.CharField(
        label=gettext_lazy("Answered by"), max_length=120, required=False
    )
    how = forms.ChoiceField(
        label=gettext_lazy("How"),
        choices=[("", gettext_lazy("choose")), *HOW_STAFF_HEARD],
        required=False,
    )
    reached_at = forms.CharField(
        label=gettext_lazy("Phone number or email address used"),
        max_length=120,
        required=False,
        help_text=gettext_lazy("Required if agreed by phone or email."),
    )
    day = DayFormField(label=gettext_lazy("Date"), required=False)
    time = forms.TimeField(
        label=gettext_lazy("Time"),
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text=gettext_lazy("Blank: now."),
    )
    why = forms.CharField(
        label=gettext_lazy("Customer’s reason"), max_length=500, required=False
    )

    def __init__(self, *args, customer, since, allow_unanswered=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.since = since
        choices = [
            (Decision.YES, gettext("Agreed")),
            (Decision.NO, gettext("Declined")),
        ]
        if allow_unanswered:
            choices.insert(
                0, (ASK, gettext("Not asked yet: the job waits for the customer"))
            )
            self.fields["decision"].initial = ASK
        else:
            choices.append((Decision.WITHDRAWN, gettext("Withdraw (wrong amounts)")))
        self.fields["decision"].choices = choices
        self.fields["who"].initial = customer.name

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("decision") in (Decision.YES, Decision.NO):
            self._require(cleaned, "who", gettext("Enter who answered."))
            self._require(cleaned, "how", gettext("Select how they answered."))
        if cleaned.get("decision") == Decision.YES and cleaned.get("how") in REACHED:
            self._require(
                cleaned,
                "reached_at",
                gettext("Enter the phone number or email address."),
            )
        if cleaned.get("decision") == Decision.WITHDRAWN:
            # Withdrawn by staff, so nobody answered.
            cleaned |= {"who": "", "how": "", "reached_at": ""}
        if not self.errors:
            cleaned["at"] = self._moment(cleaned.pop("day"), cleaned.pop("time"))
        return cleaned

    def _require(self, cleaned, name, sentence):
        if not cleaned.get(name) and name not in self.errors:
            self.add_error(name, sentence)

    def _moment(self, day: date | None, time) -> datetime:
        """Return the moment of the answer; blank fields mean now."""
        now = timezone.localtime()
        at = timezone.make_aware(
            datetime.combine(day or now.date(), time or now.time())
        )
        if at > now:
            self.add_error(
                "time",
                gettext(
                    "This time is in the future. Enter when the customer answered."
                ),
            )
        elif at < self.since.replace(second=0, microsecond=0):
            self.add_error(
                "time",
                gettext("This is before the quote was accepted. Check date and time."),
            )
        return at
