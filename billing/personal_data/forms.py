"""The forms about personal data of customers."""

from django import forms
from django.utils.translation import gettext, gettext_lazy

from repairs.customers.fields import NormalizedCharField
from repairs.customers.models import Customer
from shopdesk.fields import DayFormField


class KeepForm(forms.ModelForm):
    """Keeps a customer from erasure until a day, for a reason."""

    keep_until = DayFormField(
        label=gettext_lazy("Keep the data until"),
        required=False,
        help_text=gettext_lazy(
            "Until then nothing of this customer is erased. Blank: as usual."
        ),
    )
    keep_reason = NormalizedCharField(
        label=gettext_lazy("Reason"),
        max_length=200,
        required=False,
        help_text=gettext_lazy("For example: dispute about the invoice."),
    )

    class Meta:
        model = Customer
        fields = ("keep_until", "keep_reason")

    def clean(self):
        facts = super().clean()
        if facts.get("keep_until") and not facts.get("keep_reason"):
            self.add_error("keep_reason", gettext("Enter the reason."))
        if not facts.get("keep_until"):
            facts["keep_reason"] = ""
        return facts


class EraseForm(forms.Form):
    is_understood = forms.BooleanField(
        label=gettext_lazy("I have read what is erased and what stays"),
        error_messages={"required": gettext_lazy("Confirm that you have read it.")},
    )


class MergeForm(forms.Form):
    """A search for the other record."""

    query = NormalizedCharField(
        label=gettext_lazy("Name, phone, email or serial number"),
        max_length=200,
        attrs={"autofocus": True},
    )
