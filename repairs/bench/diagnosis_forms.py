"""What is typed during diagnosis: findings, faults, fixes."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from repairs.bench.fields import FaultField, FixField
from repairs.bench.forms import MAX_HOURS, MAX_TRIES, count, text
from repairs.comebacks.standing import standing
from repairs.faults import fix_types
from repairs.faults.models import CODE, Fault, Fix, Hazard
from shopdesk.fields import ExactFormField
from shopdesk.lookup import normalize_search

MAX_TICKS, FEW_MORE = 12, 4
"""Symptoms that are offered to tick; the others are typed, unless they are few."""


class FindingsForm(forms.Form):
    failed = count(MAX_TRIES, min_value=0, required=False, label="Failures")
    tries = count(MAX_TRIES, min_value=1, required=False, label="Tries")
    # No model field: SQLite refuses to look for a number of 64 bits or more.
    soak_failures = count(MAX_TRIES, min_value=1, required=False, label="Soak failures")
    soak_hours = ExactFormField(
        places=1,
        min_value=Decimal("0.1"),
        max_value=MAX_HOURS,
        required=False,
        label="in hours",
        widget=forms.TextInput({"class": "w4"}),
    )
    symptoms = forms.TypedMultipleChoiceField(
        coerce=int,
        required=False,
        label="Symptoms",
        widget=forms.CheckboxSelectMultiple,
    )
    other_symptoms = forms.CharField(
        max_length=500,
        required=False,
        label="Other symptoms",
        help_text="Several are separated by semicolons.",
        widget=forms.TextInput({"class": "w20", "list": "symptoms-options"}),
    )
    notes = text(max_length=4000, label="Bench notes")

    def __init__(self, *args, job, symptoms, **kwargs):
        """`symptoms` are all to choose from, the most usual ones first."""
        super().__init__(*args, **kwargs)
        self.symptoms = {normalize_search(one.name): one for one in symptoms}
        ticks = symptoms
        if not self.is_bound and len(symptoms) > MAX_TICKS + FEW_MORE:
            first = [one.pk for one in symptoms[:MAX_TICKS]]
            ticks = [one for one in symptoms if one.is_seen or one.pk in first]
        self.others = [one for one in symptoms if one not in ticks]
        self.fields["symptoms"].choices = [(one.pk, str(one)) for one in ticks]
        self.initial = {
            "failed": job.verified_failures,
            "soak_failures": job.soak_failures,
            "soak_hours": job.soak_hours,
            "tries": job.verified_tries,
            "symptoms": [one.pk for one in symptoms if one.is_seen],
            "notes": job.bench_notes,
        } | self.initial

    def clean_other_symptoms(self):
        names = [one.strip() for one in self.cleaned_data["other_symptoms"].split(";")]
        known = {name: self.symptoms.get(normalize_search(name)) for name in names}
        known.pop("", None)
        unknown = ", ".join(name for name, found in known.items() if found is None)
        if unknown:
            raise ValidationError(
                f"The fault book has no symptom “{unknown}”. Add it there first."
            )
        return [found.pk for found in known.values()]

    def clean(self):
        data = self.cleaned_data
        typed = data.pop("other_symptoms", [])
        if "symptoms" in data:
            data["symptoms"] = list(dict.fromkeys([*data["symptoms"], *typed]))
        soak = [data.get(name) for name in ("soak_failures", "soak_hours")]
        if soak.count(None) == 1 and not {"soak_failures", "soak_hours"} & {
            *self.errors
        }:
            self.add_error("soak_failures", "Enter both: failures and hours.")
        failed, tries = (data.get(name) for name in ("failed", "tries"))
        if "failed" in self.errors or "tries" in self.errors:
            return
        if (failed is None) != (tries is None):
            missing = "failed" if failed is None else "tries"
            self.add_error(missing, "Enter both: failures and tries.")
        elif tries is not None and failed > tries:
            self.add_error("failed", f"Enter at most {tries}, the number of tries.")


class JobFaultForm(forms.Form):
    fault = FaultField(datalist="faults-options", label="Fault (code or words)")


def code_field(label):
    widget = forms.TextInput(
        attrs={"class": "code w20", "autocapitalize": "characters"}
    )
    return forms.CharField(max_length=40, label=label, widget=widget)


class NewEntryForm(forms.Form):
    """An entry that the fault book lacks."""

    model = None
    name = forms.CharField(max_length=120, widget=forms.TextInput({"class": "w20"}))

    def clean_code(self):
        code = self.cleaned_data["code"].upper()
        CODE(code)
        if self.model.objects.filter(code=code).exists():
            raise ValidationError(f"{code} is already in the fault book.", code="taken")
        return code


class NewFaultForm(NewEntryForm):
    model = Fault
    code = code_field("Code, for example PWR-JACK-OPEN")
    hazard = forms.ChoiceField(choices=Hazard.choices, required=False, label="Hazard")
    field_order = ["code", "name", "hazard"]


class NewFixForm(NewEntryForm):
    model = Fix
    code = code_field("Code")
    fix_type = forms.ChoiceField(choices=fix_types.CHOICES, label="Usual type")
    minutes = count(1440, min_value=1, initial=30, label="Usual minutes")
    field_order = ["code", "name", "fix_type", "minutes"]


class JobFixForm(forms.Form):
    """One of the fixes that the book names for the fault, or another of the book."""

    chosen = forms.ModelChoiceField(
        Fix.objects.none(),
        required=False,
        label="Fix",
        widget=forms.RadioSelect,
        empty_label=None,
    )
    other = FixField(
        datalist="fixes-options", required=False, label="or another fix (code or words)"
    )

    def __init__(self, *args, repair, fixes=None, verdicts=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fault_id, self.verdicts = repair.fault_id, verdicts
        field = self.fields["chosen"]
        field.label_from_instance = self._label
        field.queryset = Fix.objects.filter(
            Q(faults=repair.fault, is_retired=False) | Q(pk=repair.fix_id)
        ).distinct()
        if fixes is not None:
            field.choices = [(fix.pk, self._label(fix)) for fix in fixes]
        self.initial.setdefault("chosen", repair.fix_id)

    def _label(self, fix):
        kind = f"usually {fix.get_fix_type_display()}"
        if self.verdicts:
            found = standing(self.verdicts, self.fault_id, fix)
            kind = found.text if found.mismatch else kind
        return f"{fix.code} {fix.name} ({kind}, {fix.minutes} min)"

    def clean(self):
        data = super().clean()
        fix = data.get("other") or data.get("chosen")
        if fix is None and not self.errors:
            self.add_error("other", "Select a fix.")
        return {"fix": fix}
