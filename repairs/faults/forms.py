import re

from django import forms
from django.core.exceptions import ValidationError

from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.stock.models import Part
from shopdesk.fields import WholeNumberField

CODE = {"class": "code w20", "autocapitalize": "characters"}


class CodeField(forms.CharField):
    """A code of the book, in capitals whatever was typed."""

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
        Fault, "Where, what, how: PWR-JACK-OPEN. Past jobs keep it when it changes."
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
            "name": "What is wrong",
            "mode": "How it fails",
            "cause": "Why, if known",
            "is_retired": "No longer offered at the bench",
        }
        help_texts = {
            "area": "Such as: power, charging, display",
            "part": "Such as: charging socket",
            "mode": "Such as: open, shorted, loose, worn",
            "hazard": "Its caution is shown wherever the fault is.",
            "notes": "How to tell it from others, what to look out for.",
        }


class FixForm(forms.ModelForm):
    """A fix, the faults it puts right and the parts it usually takes."""

    code = code_field(Fix, "Such as JACK-REPLACE. Past jobs keep it when it changes.")
    minutes = WholeNumberField(label="Usual minutes", max_value=10_000)
    warranty_days = WholeNumberField(
        label="Days of cover",
        required=False,
        max_value=3650,
        help_text="Empty: the shop's rule for its kind.",
    )
    for_faults = forms.CharField(
        label="Puts right",
        required=False,
        max_length=1000,
        widget=forms.TextInput(attrs={"class": "code"}),
        help_text="Codes of faults, with commas between them.",
    )
    usual = forms.CharField(
        label="Usual parts",
        required=False,
        max_length=1000,
        widget=forms.TextInput(attrs={"class": "code"}),
        help_text="Numbers of parts, and how many where more than one: JACK-5; R-4K7*2",
    )
    field_order = ["code", "name", "for_faults", "declared", "minutes", "usual"]

    class Meta:
        model = Fix
        fields = ["code", "name", "declared", "minutes", "warranty_days", "hazard"]
        fields += ["notes", "is_retired"]
        widgets = {"declared": forms.RadioSelect, "notes": forms.Textarea({"rows": 4})}
        labels = {
            "name": "What is done",
            "declared": "It is usually",
            "is_retired": "No longer offered at the bench",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            codes = self.instance.faults.values_list("code", flat=True)
            self.initial["for_faults"] = ", ".join(codes)
            usual = self.instance.usual_parts.select_related("part")
            self.initial["usual"] = "; ".join(
                one.part.number + (f"*{one.quantity}" if one.quantity > 1 else "")
                for one in usual.order_by("part__number")
            )

    def clean_for_faults(self):
        codes = re.split(r"[\s,;]+", self.cleaned_data["for_faults"].strip().upper())
        faults = {}
        for code in filter(None, codes):
            faults[code] = Fault.objects.filter(code=code).first()
            if faults[code] is None:
                raise ValidationError(f"There is no fault {code} in the book.")
        return list(faults.values())

    def clean_usual(self):
        wanted = {}
        for said in re.split(r"[\s,;]+", self.cleaned_data["usual"].strip()):
            if not said:
                continue
            number, times, quantity = said.partition("*")
            part = Part.objects.filter(number__iexact=number).first()
            if part is None:
                raise ValidationError(f"There is no part {number} on the shelf’s list.")
            if times and not re.fullmatch(r"[1-9][0-9]{0,2}", quantity):
                raise ValidationError(f"How many of {number}? Write {number}*2.")
            if part in wanted:
                raise ValidationError(f"{part.number} stands there twice.")
            wanted[part] = int(quantity or 1)
        return wanted

    def save(self, commit=True):
        fix = super().save(commit)
        fix.faults.set(self.cleaned_data["for_faults"])
        wanted = self.cleaned_data["usual"]
        fix.usual_parts.exclude(part__in=wanted).delete()
        for part, quantity in wanted.items():
            UsualPart.objects.update_or_create(
                fix=fix, part=part, defaults={"quantity": quantity}
            )
        return fix


class AddExistingFixForm(forms.Form):
    """A fix that is in the book already, offered for one more fault."""

    fix = forms.ModelChoiceField(queryset=None, label="A fix that is in the book")

    def __init__(self, *args, fault, **kwargs):
        super().__init__(*args, **kwargs)
        others = Fix.objects.filter(is_retired=False).exclude(faults=fault)
        self.fields["fix"].queryset = others


class SymptomForm(forms.ModelForm):
    class Meta:
        model = Symptom
        fields = ["name", "is_retired"]
        labels = {"is_retired": "No longer offered"}
        help_texts = {"name": "What the bench sees: no light, warm when off"}


class CheckForm(forms.ModelForm):
    minutes = WholeNumberField(max_value=10_000, initial=5)

    class Meta:
        model = Check
        fields = ["name", "where", "minutes", "results", "is_retired"]
        labels = {"name": "What is done", "is_retired": "No longer offered"}
        help_texts = {
            "where": "Such as: across the input capacitor",
            "results": "Possible results, with ; between them: open; shorted; fine",
        }

    def clean_results(self):
        said = [one.strip() for one in self.cleaned_data["results"].split(";")]
        said = [one for one in said if one]
        if len({one.casefold() for one in said}) < len(said):
            raise ValidationError("One result stands there twice.")
        if len(said) == 1:
            raise ValidationError("A check that can show one thing only tells nothing.")
        return "; ".join(said)
