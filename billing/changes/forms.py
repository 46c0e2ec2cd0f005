"""What the desk fills in when the work will cost more."""

from datetime import date, datetime

from django import forms
from django.utils import timezone

from billing.changes.models import ChangeAnswer, ChangeLine
from billing.quotes.forms import LineForm
from billing.quotes.models import LineKind, Quote
from shopdesk.fields import DayFormField

LINES = 5
"""Rows on the form; more than that is another quote."""

Said = ChangeAnswer.Said
ASK = "ask"
# By the link and on the screen the customer answers without us.
TOLD_THE_DESK = [
    (how.value, how.label)
    for how in (Quote.How.COUNTER, Quote.How.PHONE, Quote.How.EMAIL)
]
REACHED = (Quote.How.PHONE, Quote.How.EMAIL)


class WhyForm(forms.Form):
    why = forms.CharField(
        label="What came up",
        max_length=1000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="As the customer reads it: what was found, and why it costs more.",
    )


class ChangeLineForm(LineForm):
    class Meta(LineForm.Meta):
        model = ChangeLine


def line_forms(data, *, usual, held, places):
    """Rows for what is added. Those left empty are no lines."""
    return [
        ChangeLineForm(
            data,
            instance=ChangeLine(position=n),
            initial={"tax_kind": usual, "kind": LineKind.PART, "quantity": 1},
            prefix=f"line{n}",
            places=places,
            held=held,
            name=f"line {n}",
            empty_permitted=n > 1,
            use_required_attribute=n == 1,
        )
        for n in range(1, LINES + 1)
    ]


class SaidForm(forms.Form):
    """What the customer said, when and how. `may_ask` leaves it open."""

    said = forms.ChoiceField(label="What the customer says", widget=forms.RadioSelect)
    who = forms.CharField(label="Who said so", max_length=120, required=False)
    how = forms.ChoiceField(choices=[("", "choose"), *TOLD_THE_DESK], required=False)
    reached_at = forms.CharField(
        label="Number called, or mail address",
        max_length=120,
        required=False,
        help_text="Needed where it was agreed by telephone or mail.",
    )
    day = DayFormField(label="On the day", required=False)
    time = forms.TimeField(
        label="At",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        help_text="Both empty: just now.",
    )
    why = forms.CharField(label="Their reason", max_length=500, required=False)

    def __init__(self, *args, customer, since, may_ask=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.since = since
        choices = [(Said.YES, "Agreed"), (Said.NO, "Refused")]
        if may_ask:
            choices.insert(0, (ASK, "Not asked yet: the job waits for the customer"))
            self.fields["said"].initial = ASK
        else:
            choices.append((Said.WITHDRAWN, "Take it back: the figures were wrong"))
        self.fields["said"].choices = choices
        self.fields["who"].initial = customer.name

    def clean(self):
        asked = super().clean()
        if asked.get("said") in (Said.YES, Said.NO):
            self._ask_for(asked, "who", "Write who said so.")
            self._ask_for(asked, "how", "Say how they said so.")
        if asked.get("said") == Said.YES and asked.get("how") in REACHED:
            self._ask_for(asked, "reached_at", "Write the number or address.")
        if asked.get("said") == Said.WITHDRAWN:
            # The desk's own doing: nobody said anything.
            asked |= {"who": "", "how": "", "reached_at": ""}
        if not self.errors:
            asked["at"] = self._moment(asked.pop("day"), asked.pop("time"))
        return asked

    def _ask_for(self, asked, name, sentence):
        if not asked.get(name) and name not in self.errors:
            self.add_error(name, sentence)

    def _moment(self, day: date | None, time) -> datetime:
        """When it was said; what is left empty is as of now."""
        now = timezone.localtime()
        at = timezone.make_aware(
            datetime.combine(day or now.date(), time or now.time())
        )
        if at > now:
            self.add_error("time", "That is still to come.")
        elif at < self.since.replace(second=0, microsecond=0):
            self.add_error("time", "That was before the quote was agreed to.")
        return at
