"""What the desk fills in about a bill."""

from decimal import Decimal
from uuid import uuid4

from django import forms

from billing.invoices.models import MEANS
from billing.quotes.limits import HIGHEST
from shopdesk.fields import MoneyFormField


class PaymentForm(forms.Form):
    """Money in, or money back where the shop owes. Its key makes it count once."""

    amount = MoneyFormField(max_value=HIGHEST * 100)
    means = forms.ChoiceField(label="How", choices=MEANS, widget=forms.RadioSelect)
    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args, written_in, left, is_optional=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.is_optional = is_optional
        self.fields["key"].initial = uuid4
        amount = self.fields["amount"]
        amount.places = written_in.places
        amount.initial = abs(left)
        amount.label = f"Amount in {written_in.currency}"
        if is_optional:
            amount.required = self.fields["means"].required = False
            amount.help_text = "Empty or 0: it is paid later."

    def clean_amount(self):
        amount = self.cleaned_data["amount"]
        if not amount and not self.is_optional:
            raise forms.ValidationError("Write how much is paid.")
        return amount or Decimal(0)

    def clean(self):
        asked = super().clean()
        if asked.get("amount") and not asked.get("means") and "means" in asked:
            self.add_error("means", "Say how it is paid.")
        return asked


class CreditForm(forms.Form):
    why = forms.CharField(
        label="Why it is taken back",
        max_length=300,
        help_text="Stands on the credit note.",
    )
