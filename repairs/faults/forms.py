import re

from django import forms
from django.core.exceptions import ValidationError

from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.stock.forms import part_with_number, split_codes
from shopdesk.fields import WholeNumberField

CODE = {"class": "code w20", "autocapitalize": "characters"}


class CodeField(forms.CharField):
    """A code of the fault book; capitals whatever was typed."""

    def to_python(self, value):
        return super().to_python(value).upper()


def code_field(model, help_text):
    field = model._meta.get_field("code")
    return CodeField(
        max_length=field.max_length,
        validators=field.validators,
        widget=forms.TextInput(attrs=CODE),
        help_text=help_text,
    )


class FaultForm(forms.ModelForm):
    code = code_field(
        Fault,
        "Area, part, failure: PWR-JACK-OPEN. A changed code also shows on past jobs.",
    )

    class Meta:
        model = Fault
        fields = ["code", "name", "area", "part", "mode", "cause", "hazard"]
        fields += ["notes", "is_retired"]
        widgets = {
            "area": forms.TextInput(attrs={"class": "w12", "list": "areas"}),
            "part": forms.TextInput(attrs={"class": "w20"}),
            "mode": forms.TextInput(attrs={"class": "w20"}),
            "notes": forms.Textarea(attrs={"rows": 4}),
        }
        labels = {
            "name": "Fault",
            "mode": "Failure mode",
            "cause": "Cause, if known",
            "is_retired": "Retired",
        }
        help_texts = {
            "area": "For example: power, charging, display",
            "part": "For example: charging socket",
            "mode": "For example: open, shorted, loose, worn",
            "hazard": "Its caution is shown wherever this fault is.",
            "notes": "How to tell it from similar faults, what to look for.",
        }


class FixForm(forms.ModelForm):
    """A fix, the faults it is used for and its usual parts."""

    code = code_field(
        Fix, "For example: JACK-REPLACE. A changed code also shows on past jobs."
    )
    minutes = WholeNumberField(label="Usual minutes", max_value=10_000)
    warranty_days = WholeNumberField(
        label="Warranty (days)",
        required=False,
        max_value=3650,
        help_text="Blank: shop default.",
    )
    faults = forms.CharField(
        label="Fixes these faults",
        required=False,
        max_length=1000,
        widget=forms.TextInput(attrs={"class": "code"}),
        help_text="Fault codes, separated by commas.",
    )
    usual = forms.CharField(
        label="Usual parts",
        required=False,
        max_length=1000,
        widget=forms.TextInput(attrs={"class": "code"}),
        help_text="Part numbers, with a quantity if more than one: JACK-5; R-4K7*2",
    )
    field_order = ["code", "name", "faults", "fix_type", "minutes", "usual"]

    class Meta:
        model = Fix
        fields = ["code", "name", "fix_type", "minutes", "warranty_days", "hazard"]
        fields += ["notes", "is_retired"]
        widgets = {"fix_type": forms.RadioSelect, "notes": forms.Textarea({"rows": 4})}
        labels = {
            "name": "Fix",
            "fix_type": "Usual type",
            "is_retired": "Retired",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            codes = self.instance.faults.values_list("code", flat=True)
            self.initial["faults"] = ", ".join(codes)
            usual_parts = self.instance.usual_parts.select_related("part")
            self.initial["usual"] = "; ".join(
                usual.part.number + (f"*{usual.quantity}" if usual.quantity > 1 else "")
                for usual in usual_parts.order_by("part__number")
            )

    def clean_faults(self):
        codes = split_codes(self.cleaned_data["faults"].upper())
        faults = {fault.code: fault for fault in Fault.objects.filter(code__in=codes)}
        for code in codes:
            if code not in faults:
                raise ValidationError(f"Fault {code} not found.")
        return list(faults.values())

    def clean_usual(self):
        quantities = {}
        for entry in split_codes(self.cleaned_data["usual"]):
            number, times, quantity = entry.partition("*")
            if not number:
                raise ValidationError(f"Enter a part number before {entry}.")
            part = part_with_number(number)
            if times and not re.fullmatch(r"[1-9][0-9]{0,2}", quantity):
                raise ValidationError(f"Enter the quantity of {number} as {number}*2.")
            if part in quantities:
                raise ValidationError(f"{part.number} is listed twice.")
            quantities[part] = int(quantity or 1)
        return quantities

    def save(self, commit=True):
        fix = super().save(commit)
        fix.faults.set(self.cleaned_data["faults"])
        quantities = self.cleaned_data["usual"]
        fix.usual_parts.exclude(part__in=quantities).delete()
        for part, quantity in quantities.items():
            UsualPart.objects.update_or_create(
                fix=fix, part=part, defaults={"quantity": quantity}
            )
        return fix


class AddExistingFixForm(forms.Form):
    """An existing fix, to be used for one more fault."""

    fix = forms.ModelChoiceField(queryset=None, label="Fix")

    def __init__(self, *args, fault, **kwargs):
        super().__init__(*args, **kwargs)
        others = Fix.objects.filter(is_retired=False).exclude(faults=fault)
        self.fields["fix"].queryset = others


class SymptomForm(forms.ModelForm):
    class Meta:
        model = Symptom
        fields = ["name", "is_retired"]
        help_texts = {"name": "What the bench observes: no light, warm when off"}


class CheckForm(forms.ModelForm):
    minutes = WholeNumberField(max_value=10_000, initial=5)

    class Meta:
        model = Check
        fields = ["name", "where", "minutes", "results", "is_retired"]
        labels = {"name": "Check", "is_retired": "Retired"}
        help_texts = {
            "where": "For example: across the input capacitor",
            "results": "Possible results, separated by semicolons: open; shorted; good",
        }

    def clean_results(self):
        results = self.cleaned_data["results"].split(";")
        results = [result.strip() for result in results if result.strip()]
        if len({result.casefold() for result in results}) < len(results):
            raise ValidationError("A result is listed twice.")
        if len(results) == 1:
            raise ValidationError("Enter at least two possible results.")
        return "; ".join(results)
