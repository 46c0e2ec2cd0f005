from decimal import Decimal

from django import forms
from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import MAX_PRICE
from repairs.customers.fields import NormalizedCharField
from shopdesk.fields import DayFormField, MoneyFormField, use_currency


class CashCountForm(forms.Form):
    """The cash counted of one currency, and the reason for a difference."""

    opening = MoneyFormField(
        label=gettext_lazy("Opening float"),
        max_value=MAX_PRICE * 100,
        help_text=gettext_lazy(
            "Entered once. After that it is the last closing float."
        ),
    )
    counted = MoneyFormField(
        label=gettext_lazy("Cash counted"), max_value=MAX_PRICE * 100
    )
    cash_removed = MoneyFormField(
        label=gettext_lazy("Cash removed"),
        max_value=MAX_PRICE * 100,
        required=False,
        help_text=gettext_lazy(
            "Taken to the bank or safe. The rest is the next opening float."
        ),
    )
    why = NormalizedCharField(
        label=gettext_lazy("Reason for difference"),
        max_length=300,
        required=False,
        help_text=gettext_lazy(
            "Required if the cash counted differs from the expected amount."
        ),
    )

    def __init__(self, *args, written_in, has_opening, **kwargs):
        super().__init__(*args, **kwargs)
        use_currency(self, written_in.places)
        if has_opening:
            del self.fields["opening"]

    def clean_cash_removed(self):
        return self.cleaned_data["cash_removed"] or Decimal(0)


class DayCloseForm(CashCountForm):
    """The day, and the count of the shop's currency."""

    day = DayFormField(label=gettext_lazy("Day"))
    field_order = ["day"]


class AccountsForm(forms.Form):
    """The first and the last day of a period."""

    since = DayFormField(label=gettext_lazy("From"))
    until = DayFormField(label=gettext_lazy("To"))

    def clean(self):
        entered = super().clean()
        since, until = entered.get("since"), entered.get("until")
        if since and until and until < since:
            self.add_error("until", gettext("The last day is before the first."))
        return entered
