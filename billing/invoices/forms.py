"""Forms by which staff record payments, credit and issue invoices."""

from decimal import Decimal
from uuid import uuid4

from django import forms
from django.utils.translation import gettext, gettext_lazy

from billing.invoices.models import MEANS
from billing.quotes.models import MAX_PRICE
from repairs.customers.fields import NormalizedCharField
from shopdesk.fields import ExactFormField, MoneyFormField, use_currency
from shopdesk.look.shop_formats import money
from shopdesk.shop import currencies


class PaymentForm(forms.Form):
    """A payment, or a refund if the shop owes money. Its key makes it count once."""

    amount = MoneyFormField(label=gettext_lazy("Amount"), max_value=MAX_PRICE * 100)
    means = forms.ChoiceField(
        label=gettext_lazy("Payment method"), choices=MEANS, widget=forms.RadioSelect
    )
    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(
        self, *args, written_in, due, in_cash=None, is_optional=False, **kwargs
    ):
        """`in_cash` is `due` rounded to coins, if that is another amount."""
        super().__init__(*args, **kwargs)
        self.is_optional = is_optional
        self.fields["key"].initial = uuid4
        amount = self.fields["amount"]
        use_currency(self, written_in.places)
        amount.initial = abs(due) if due is not None else None
        amount.label = gettext("Amount in {currency}").format(
            currency=written_in.currency
        )
        if is_optional:
            amount.required = self.fields["means"].required = False
            amount.help_text = gettext("Blank or 0: paid later.")
        if in_cash is not None and due and in_cash != due:
            note = gettext("In cash: {in_cash} settles it.").format(
                in_cash=money(abs(in_cash), written_in)
            )
            amount.help_text = f"{amount.help_text} {note}".strip()

    def clean_amount(self):
        amount = self.cleaned_data["amount"]
        if not amount and not self.is_optional:
            raise forms.ValidationError(gettext("Enter an amount."))
        return amount or Decimal(0)

    def clean(self):
        entered = super().clean()
        if entered.get("amount") and entered.get("means") == "":
            self.add_error("means", gettext("Select a payment method."))
        return entered

    def payment(self, sign=1):
        """Return the payment to record; a `sign` of -1 makes it a refund."""
        entered = self.cleaned_data
        return {
            "amount": sign * entered["amount"],
            "means": entered["means"],
            "key": entered["key"],
        }


class CreditForm(forms.Form):
    """Reason, and quantity to credit of each line: all that remains by default."""

    why = forms.CharField(
        label=gettext_lazy("Reason for credit"),
        max_length=300,
        help_text=gettext_lazy("Printed on the credit note."),
    )

    def __init__(self, *args, lines, **kwargs):
        super().__init__(*args, **kwargs)
        self.lines = [line for line in lines if line.quantity]
        for line in self.lines:
            self.fields[self._name(line)] = ExactFormField(
                label=gettext("Quantity to credit: {text}").format(text=line.text),
                required=False,
                initial=line.quantity,
                min_value=min(line.quantity, Decimal(0)),
                max_value=max(line.quantity, Decimal(0)),
            )

    @staticmethod
    def _name(line):
        return f"line{line.pk}"

    def rows(self):
        """Return each line with its field."""
        return [(line, self[self._name(line)]) for line in self.lines]

    def quantities(self):
        """Return the quantity to credit by the key of its line; None for all that
        remains.
        """
        names = {line.pk: self._name(line) for line in self.lines}
        if not any(self.add_prefix(name) in self.data for name in names.values()):
            return None
        return {pk: self.cleaned_data[name] or Decimal(0) for pk, name in names.items()}


class BuyerForm(forms.Form):
    """The name and address on the invoice."""

    name = NormalizedCharField(label=gettext_lazy("Name"), max_length=240)
    address = NormalizedCharField(
        label=gettext_lazy("Address"), max_length=300, required=False, keep_lines=True
    )
    country = forms.ChoiceField(
        label=gettext_lazy("Country"),
        choices=lambda: list(currencies.countries().items()),
    )
    tax_id = NormalizedCharField(
        label=gettext_lazy("Tax number"), max_length=40, required=False
    )
