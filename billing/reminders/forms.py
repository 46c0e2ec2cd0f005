from decimal import Decimal

from django import forms

from billing.quotes.models import MAX_PRICE
from repairs.customers.fields import NormalizedCharField
from shopdesk.fields import MoneyFormField


class RemindForm(forms.Form):
    """What the reminder says and asks besides."""

    words = NormalizedCharField(max_length=2000, required=False, keep_lines=True)
    fee = MoneyFormField(
        label="Fee for the reminder",
        required=False,
        max_value=MAX_PRICE,
        help_text="Asked besides what is owed; empty for none. Check your local rules.",
    )
    mail = forms.BooleanField(required=False)

    def __init__(self, *args, written_in, words, email, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["fee"].places = written_in.places
        self.fields["words"].initial = words
        if email:
            self.fields["mail"].label = f"Mail it to {email}, with the bill"
            self.fields["mail"].initial = True
        else:
            del self.fields["mail"]

    def clean_fee(self):
        return self.cleaned_data["fee"] or Decimal(0)

    def clean(self):
        asked = super().clean()
        asked.setdefault("mail", False)
        return asked


class RemindAllForm(forms.Form):
    mail = forms.BooleanField(
        label="Mail them to those who have a mail address", required=False, initial=True
    )
