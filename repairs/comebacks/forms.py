"""What one may ask of the comeback table."""

from datetime import date

from django import forms

from repairs.comebacks.queries import latest_day
from shopdesk.fields import DayFormField

LONGEST_HORIZON = 730


class AskForm(forms.Form):
    """As of which day, and within how many days a comeback counts."""

    as_of = DayFormField(
        label="As known on",
        error_messages={
            "required": "Give a day, such as 2026-03-31.",
            "invalid": "Write the day as year-month-day, such as 2026-03-31.",
        },
    )
    within = forms.IntegerField(
        label="Back within days",
        min_value=1,
        max_value=LONGEST_HORIZON,
        error_messages={
            "required": f"Give the days, from 1 to {LONGEST_HORIZON}.",
            "invalid": "Write the days as a whole number, such as 90.",
            "min_value": "A comeback needs at least 1 day.",
            "max_value": f"No comeback is counted after {LONGEST_HORIZON} days.",
        },
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w4"}),
    )

    def __init__(self, asked, *, today: date, within: int):
        """`asked` is what the address says; the rest is `today` and `within`."""
        self.today = today
        super().__init__(
            {
                "as_of": asked.get("as_of", today.isoformat()),
                "within": asked.get("within", str(within)),
            }
        )

    def clean_as_of(self):
        as_of = self.cleaned_data["as_of"]
        if as_of > self.today and as_of > (latest := latest_day(self.today)):
            raise forms.ValidationError(
                f"{as_of} is still to come: nothing is known of it yet. The latest day"
                f" is {latest}."
            )
        return as_of
