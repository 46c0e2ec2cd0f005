from decimal import Decimal

from django import forms

from billing.quotes.models import MAX_PRICE
from repairs.customers.fields import NormalizedCharField
from shopdesk.fields import DayFormField, MoneyFormField


class CloseForm(forms.Form):
    """What was counted, for which day, and why it differs."""

    day = DayFormField(label="Close the till of")
    opening = MoneyFormField(
        label="In the till before the first payment",
        max_value=MAX_PRICE * 100,
        help_text="Asked this once: next time it is what stays in the till.",
    )
    counted = MoneyFormField(label="Cash counted", max_value=MAX_PRICE * 100)
    cash_removed = MoneyFormField(
        label="Taken out of the till",
        max_value=MAX_PRICE * 100,
        required=False,
        help_text="To the bank or the safe; the rest stays for the next day.",
    )
    why = NormalizedCharField(
        label="Why it differs",
        max_length=300,
        required=False,
        help_text="Needed where more or less was counted than there should be.",
    )

    def __init__(self, *args, written_in, has_opening, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("opening", "counted", "cash_removed"):
            self.fields[name].places = written_in.places
        if has_opening:
            del self.fields["opening"]

    def clean_cash_removed(self):
        return self.cleaned_data["cash_removed"] or Decimal(0)
