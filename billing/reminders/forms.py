from decimal import Decimal

from django import forms
from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import MAX_PRICE
from repairs.customers.fields import NormalizedCharField
from shopdesk.fields import MoneyFormField, use_currency


class ReminderForm(forms.Form):
    """The text and the fee of a reminder."""

    text = NormalizedCharField(
        label=gettext_lazy("Text"), max_length=2000, required=False, keep_lines=True
    )
    fee = MoneyFormField(
        label=gettext_lazy("Reminder fee"),
        required=False,
        max_value=MAX_PRICE,
        help_text=gettext_lazy(
            "Added to the balance due. Blank: no fee. Check local regulations."
        ),
    )
    mail = forms.BooleanField(required=False, initial=True)

    def __init__(self, *args, written_in, email, **kwargs):
        super().__init__(*args, **kwargs)
        use_currency(self, written_in.places)
        if email:
            self.fields["mail"].label = gettext(
                "Send by email to {email}, with the invoice"
            ).format(email=email)
        else:
            del self.fields["mail"]

    def clean_fee(self):
        return self.cleaned_data["fee"] or Decimal(0)


class AllRemindersForm(forms.Form):
    mail = forms.BooleanField(
        label=gettext_lazy("Email them where an address is on record"),
        required=False,
        initial=True,
    )
