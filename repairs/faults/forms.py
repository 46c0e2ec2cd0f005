import re

from django import forms
from django.core.exceptions import ValidationError

from repairs.faults.models import Check, Fault, Fix, Symptom, UsualPart
from repairs.faults.naming import similar_faults, suggested_code
from repairs.stock.forms import codes_field, part_with_number, split_codes

MAX_BOOK_BYTES = 5_000_000


class CodeField(forms.CharField):
    """A code of the fault book, converted to capitals."""

    widget = forms.TextInput({"class": "code w20", "autocapitalize": "characters"})

    def to_python(self, value):
        return super().to_python(value).upper()


class NamesField(forms.CharField):
    """Names of symptoms or checks, one on a line or separated by semicolons.

    Its value is the records, in no order.
    """

    def __init__(self, model, **kwargs):
        self.model = model
        widget = forms.Textarea({"rows": 4})
        super().__init__(required=False, max_length=4000, widget=widget, **kwargs)

    def to_python(self, value):
        names = split_names(super().to_python(value))
        if not names:
            return []
        by_name = {
            record.name.casefold(): record for record in self.model.objects.all()
        }
        noun = self.model._meta.verbose_name
        for name in names:
            if name.casefold() not in by_name:
                raise ValidationError(f"There is no {noun} “{name}”. Add it first.")
        return [by_name[name.casefold()] for name in names]

    def prepare_value(self, value):
        if isinstance(value, list):
            return "\n".join(sorted(str(record) for record in value))
        return value


def split_names(text: str) -> list[str]:
    """Return the names in a text, one on a line or separated by semicolons."""
    return [name for name in map(str.strip, re.split(r"[;\n]", text)) if name]


class FaultForm(forms.ModelForm):
    """A fault, its usual symptoms and the checks that tell it from others.

    Without a code it gets the one that area, part and failure mode suggest.
    """

    symptoms = NamesField(
        Symptom, label="Usual symptoms", help_text="One on each line."
    )
    checks = NamesField(
        Check,
        label="Checks that tell it from other faults",
        help_text="One on each line.",
    )

    class Meta:
        model = Fault
        fields = ["code", "name", "area", "part", "mode", "cause", "kinds", "hazard"]
        fields += ["symptoms", "checks", "misled", "notes", "is_retired"]
        field_classes = {"code": CodeField}
        widgets = {
            "area": forms.TextInput({"class": "w12", "list": "areas"}),
            "part": forms.TextInput({"class": "w20"}),
            "mode": forms.TextInput({"class": "w20"}),
            "kinds": forms.TextInput({"class": "w20"}),
            "misled": forms.Textarea({"rows": 2}),
            "notes": forms.Textarea({"rows": 4}),
        }
        labels = {"name": "Fault", "mode": "Failure mode", "cause": "Cause, if known"}
        help_texts = {
            "code": "Area, part, failure: PWR-JACK-OPEN. Blank: made from these. A"
            " changed code also shows on past jobs.",
            "kinds": "For example: laptop; tablet",
            "misled": "What looked like another fault, or hid this one.",
            "area": "For example: power, charging, display",
            "part": "For example: charging socket",
            "mode": "For example: open, shorted, loose, worn",
            "hazard": "Its caution is shown wherever this fault is.",
            "notes": "How to tell it from similar faults, what to look for.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["code"].required = False
        if self.instance.pk:
            for name in ("symptoms", "checks"):
                self.initial[name] = list(getattr(self.instance, name).all())

    def clean_kinds(self):
        return "; ".join(split_names(self.cleaned_data["kinds"].replace(",", ";")))

    def clean(self):
        entered = super().clean()
        if not entered.get("code") and "code" not in self.errors:
            words = (entered.get(name) or "" for name in ("area", "part", "mode"))
            code = suggested_code(*words, taken=Fault.objects.all())
            if code:
                entered["code"] = code
            else:
                self.add_error("code", "Enter a code, or area, part and failure mode.")
        self.similar = []
        is_new = not self.instance.pk and "add_anyway" not in self.data
        if is_new and not self.errors:
            self.similar = similar_faults(
                entered["name"], entered["area"], entered["part"], entered["mode"]
            )
        if self.similar:
            self.add_error(None, "A similar fault exists. Use it, or add this one too.")
        return entered


class FixForm(forms.ModelForm):
    """A fix, the faults it is used for and its usual parts."""

    faults = codes_field("Fixes these faults", "Fault codes, separated by commas.")
    usual = codes_field(
        "Usual parts",
        "Part numbers, with a quantity if more than one: JACK-5; R-4K7*2",
    )
    field_order = ["code", "name", "faults", "fix_type", "minutes", "usual"]

    class Meta:
        model = Fix
        fields = ["code", "name", "fix_type", "minutes", "warranty_days", "hazard"]
        fields += ["notes", "is_retired"]
        field_classes = {"code": CodeField}
        widgets = {"fix_type": forms.RadioSelect, "notes": forms.Textarea({"rows": 4})}
        labels = {"name": "Fix", "warranty_days": "Warranty (days)"}
        help_texts = {
            "code": "For example: JACK-REPLACE. A changed code also shows on past jobs."
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["minutes"].initial = None  # to be entered, not left as it is
        if self.instance.pk:
            self.initial |= self.linked_values(self.instance)

    def linked_values(self, fix):
        """Return the entries that are not columns of the fix."""
        codes = fix.faults.values_list("code", flat=True)
        usual_parts = fix.usual_parts.select_related("part").order_by("part__number")
        usual = "; ".join(
            usual.part.number + (f"*{usual.quantity}" if usual.quantity > 1 else "")
            for usual in usual_parts
        )
        return {"faults": ", ".join(codes), "usual": usual}

    def clean_faults(self):
        codes = split_codes(self.cleaned_data["faults"].upper())
        faults = Fault.objects.filter(code__in=codes)
        if unknown := set(codes) - {fault.code for fault in faults}:
            raise ValidationError(f"Fault {min(unknown)} not found.")
        return faults

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


class StarterForm(forms.Form):
    """The areas of the starter book to add; `counts` are their faults."""

    areas = forms.MultipleChoiceField(
        label="Areas",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Select at least one area."},
    )

    def __init__(self, *args, counts, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["areas"].choices = [
            (area, f"{area} ({count})") for area, count in sorted(counts.items())
        ]
        self.initial["areas"] = list(counts)


class BookFileForm(forms.Form):
    """A fault book as a CSV file."""

    file = forms.FileField(label="CSV file", widget=forms.FileInput({"accept": ".csv"}))

    def clean_file(self):
        file = self.cleaned_data["file"]
        if file.size > MAX_BOOK_BYTES:
            raise ValidationError(f"{file.name} is larger than 5 MB.")
        try:
            return file.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise ValidationError(
                f"{file.name} is not a CSV file in UTF-8. Save it as “CSV UTF-8”."
            ) from None


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
    class Meta:
        model = Check
        fields = ["name", "where", "minutes", "results", "is_retired"]
        labels = {"name": "Check"}
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
