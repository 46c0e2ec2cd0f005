"""Forms for the European Repair Information Form and consent to a diagnosis fee."""

from decimal import Decimal

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import MAX_PRICE, Quote
from billing.repair_form.models import (
    MIN_VALID_DAYS,
    DiagnosisConsent,
    RepairInformationForm,
)
from shopdesk.fields import MoneyFormField, WholeNumberField, use_currency

EXTRAS = 4
"""Number of ancillary services that fit on one form."""


class TermsForm(forms.ModelForm):
    """Fields that do not come from the shop or the device."""

    days = WholeNumberField(
        label=gettext_lazy("Days to complete"), min_value=0, max_value=365
    )
    valid_days = WholeNumberField(
        label=gettext_lazy("Valid for days"),
        min_value=MIN_VALID_DAYS,
        max_value=365,
        help_text=format_lazy(
            gettext_lazy("From the day of issue; at least {days}."),
            days=MIN_VALID_DAYS,
        ),
    )
    max_price = MoneyFormField(
        label=gettext_lazy("Maximum price"),
        required=False,
        max_value=MAX_PRICE,
        help_text=gettext_lazy("For a calculated price; incl. tax."),
    )
    replacement_cost = MoneyFormField(
        label=gettext_lazy("Cost of replacement device"),
        required=False,
        max_value=MAX_PRICE,
    )
    has_replacement = forms.TypedChoiceField(
        label=gettext_lazy("Replacement device"),
        choices=[("no", gettext_lazy("no")), ("yes", gettext_lazy("yes"))],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect,
    )

    class Meta:
        model = RepairInformationForm
        fields = [
            "defect",
            "measures",
            "mode",
            "price_rule",
            "max_price",
            "days",
            "has_replacement",
            "replacement_cost",
            "place",
            "valid_days",
            "more",
        ]
        widgets = {
            "mode": forms.RadioSelect,
            "price_rule": forms.TextInput(attrs={"class": "wide"}),
            "place": forms.TextInput(attrs={"class": "wide"}),
            "defect": forms.Textarea(attrs={"rows": 3}),
            "measures": forms.Textarea(attrs={"rows": 3}),
            "more": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "price_rule": gettext_lazy(
                "For example: labour at 68.00 per hour, parts at list price."
            ),
            "measures": gettext_lazy("State if it is a temporary repair."),
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.initial["has_replacement"] = (
            "yes" if self.instance.has_replacement else "no"
        )
        self.fields["mode"].choices = RepairInformationForm.Mode.choices
        extras = dict(enumerate(self.instance.extras))
        for n in range(EXTRAS):
            extra = extras.get(n, {})
            self.fields[f"what{n}"] = forms.CharField(
                label=gettext("Ancillary service {n}").format(n=n + 1),
                required=False,
                max_length=120,
                initial=extra.get("what"),
            )
            self.fields[f"cost{n}"] = MoneyFormField(
                label=gettext("Cost {n}").format(n=n + 1),
                required=False,
                max_value=MAX_PRICE,
                initial=extra.get("cost"),
            )
        use_currency(self, self.instance.option.quote.places)

    @property
    def rows(self):
        """Return the fields of all rows except ancillary services."""
        return [self[name] for name in self._meta.fields]

    @property
    def ancillary(self):
        """Return two fields for each ancillary service: description and cost."""
        return [(self[f"what{n}"], self[f"cost{n}"]) for n in range(EXTRAS)]

    @property
    def has_ancillary(self) -> bool:
        """Whether the ancillary services are shown open."""
        boxes = [box for two in self.ancillary for box in two]
        return any(box.value() or (self.is_bound and box.errors) for box in boxes)

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("mode") == RepairInformationForm.Mode.CALCULATED:
            if not cleaned.get("price_rule"):
                self.add_error(
                    "price_rule", gettext("Enter how the price is calculated.")
                )
            if "max_price" not in self.errors and not cleaned.get("max_price"):
                self.add_error("max_price", gettext("Enter a maximum price."))
        if cleaned.get("replacement_cost") is None:
            cleaned["replacement_cost"] = Decimal(0)
        for n in range(EXTRAS):
            what, cost = (
                cleaned.get(f"what{n}"),
                cleaned.get(f"cost{n}"),
            )
            if cost and not what:
                self.add_error(
                    f"what{n}",
                    gettext("Enter what this cost is for."),
                )
            if what and cost is None and f"cost{n}" not in self.errors:
                self.add_error(
                    f"cost{n}",
                    gettext("Enter the cost; 0 if free."),
                )
        return cleaned

    def save(self, commit=True):
        pairs = [
            (self.cleaned_data[f"what{n}"], self.cleaned_data[f"cost{n}"])
            for n in range(EXTRAS)
        ]
        self.instance.extras = [
            {"what": what, "cost": cost} for what, cost in pairs if what
        ]
        return super().save(commit)


class AcceptForm(forms.Form):
    who = forms.CharField(label=gettext_lazy("Accepted by"), max_length=120)
    how = forms.ChoiceField(label=gettext_lazy("How"), choices=Quote.How.choices)


class ConsentForm(forms.ModelForm):
    fee = MoneyFormField(label=gettext_lazy("Diagnosis fee"), max_value=MAX_PRICE)

    class Meta:
        model = DiagnosisConsent
        fields = ["fee", "agreed_by", "agreed_how"]

    def __init__(self, *args, places, **kwargs):
        super().__init__(*args, **kwargs)
        use_currency(self, places)
