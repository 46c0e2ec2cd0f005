"""What is typed at the bench. One form for each thing that is written down."""

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q

from repairs.bench.fields import FaultField, FixField, PartField
from repairs.comebacks.standing import standing
from repairs.faults import fix_types
from repairs.faults.cautions import OF_DEVICE
from repairs.faults.models import CODE, Fault, Fix, Hazard
from repairs.jobs import bench_notation, states
from repairs.jobs.bench_notation import NotationError
from repairs.jobs.models import Job, Reading
from shopdesk.fields import DayFormField
from shopdesk.lookup import normalize_search
from shopdesk.staff.models import Role, User

MOST_TRIES = 5000
MAX_TICKS, FEW_MORE = 12, 4
"""Symptoms that are offered to tick; the others are typed, unless they are few."""


def text(rows=2, **kwargs):
    """A box for a few sentences."""
    kwargs.setdefault("required", False)
    return forms.CharField(widget=forms.Textarea(attrs={"rows": rows}), **kwargs)


def count(most, **kwargs):
    widget = forms.TextInput(
        attrs={"inputmode": "numeric", "class": "w4", "autocomplete": "off"}
    )
    return forms.IntegerField(max_value=most, widget=widget, **kwargs)


class VersionForm(forms.Form):
    """The version of the job that the page showed; `version_now` where htmx knows a
    later one that this page has itself made."""

    version = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1)
    version_now = forms.IntegerField(required=False, min_value=1, max_value=2**31 - 1)

    @property
    def number(self):
        if not self.is_valid():
            return None
        return self.cleaned_data["version_now"] or self.cleaned_data["version"]


class DayForm(forms.Form):
    day = DayFormField(required=False, label="Day")

    @property
    def chosen(self):
        return self.cleaned_data["day"] if self.is_valid() else None


class JobDetailsForm(forms.ModelForm):
    """What the counter recorded, as far as the bench may find it otherwise."""

    due_on = DayFormField(required=False, label="Due date")

    class Meta:
        model = Job
        fields = ["waiting_for", "waiting_note", "due_on", "place", "assigned_to"]
        fields += [*OF_DEVICE, "condition", "accessories", "data_access"]
        help_texts = {
            "waiting_note": "Which part, or who.",
            "data_access": "No access: a stored access code is deleted.",
        }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        technicians = Q(role__in=(Role.BENCH, Role.OWNER), is_active=True)
        field = self.fields["assigned_to"]
        field.queryset = User.objects.filter(
            technicians | Q(pk=self.instance.assigned_to_id)
        )
        field.empty_label = "nobody"

    def clean(self):
        # A copy: what is saved is also given to the form's own record.
        return dict(super().clean())


class BatteryForm(forms.Form):
    disconnected = forms.BooleanField(required=False)


class CompleteRepairForm(forms.Form):
    """The usual parts that are not booked yet, ticked where there is stock."""

    parts = forms.TypedMultipleChoiceField(
        required=False, widget=forms.CheckboxSelectMultiple, label="Parts used"
    )

    def __init__(self, *args, usual, **kwargs):
        """`usual` are pairs of a repair and one of its usual parts."""
        super().__init__(*args, **kwargs)
        self.usual = {f"{repair.pk}-{one.pk}": (repair, one) for repair, one in usual}
        field = self.fields["parts"]
        field.choices = [
            (key, self._label(one)) for key, (_, one) in self.usual.items()
        ]
        self.initial["parts"] = [
            key
            for key, (_, one) in self.usual.items()
            if one.part.on_hand >= one.quantity
        ]

    @staticmethod
    def _label(usual):
        part = usual.part
        place = f" in {part.bin}" if part.bin else ""
        return f"{usual.quantity} × {part.number} {part.name} ({part.on_hand}{place})"

    def clean_parts(self):
        return [self.usual[key] for key in self.cleaned_data["parts"]]


class FindingsForm(forms.Form):
    failed = count(MOST_TRIES, min_value=0, required=False, label="Failures")
    tries = count(MOST_TRIES, min_value=1, required=False, label="Tries")
    # No model field: SQLite refuses to look for a number of 64 bits or more.
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


class NotRepairedForm(forms.Form):
    """A fault, or a whole job, that is not put right."""

    outcome = forms.ChoiceField(
        choices=[(key, states.OUTCOMES[key]) for key in states.NOT_REPAIRED],
        label="Outcome",
    )
    why = forms.CharField(max_length=500, label="Reason", widget=forms.TextInput)


class JobOutcomeForm(forms.Form):
    """What is said of the whole job when it is closed."""

    why = forms.CharField(
        max_length=500,
        required=False,
        label="For the job history",
        help_text="Required if nothing was fixed.",
    )


class ReasonForm(forms.Form):
    why = forms.CharField(max_length=500, label="Reason")


class ReadingForm(forms.Form):
    """A reading and what is expected, in the notation of the bench."""

    test_point = forms.CharField(
        max_length=120,
        label="Test point",
        widget=forms.TextInput({"list": "test-points", "class": "w20"}),
    )
    value = forms.CharField(
        max_length=40,
        label="Reading",
        help_text="For example: 4.98V, 4k7, 0.45 V diode, >1M, OL.",
        widget=forms.TextInput({"class": "w8", "autocomplete": "off"}),
    )
    expected = forms.CharField(
        max_length=60,
        required=False,
        label="Expected",
        help_text="For example: 3v3 ±5%, 19.2–19.6V, >1M, none. Blank: usual range.",
        widget=forms.TextInput({"class": "w12", "autocomplete": "off"}),
    )
    stage = forms.ChoiceField(choices=Reading.Stage.choices, label="Measured")

    def __init__(self, *args, usual, stage, **kwargs):
        """`usual` are the usual readings of this model by test point."""
        super().__init__(*args, **kwargs)
        self.usual = usual
        self.initial.setdefault("stage", stage)

    def clean(self):
        data = super().clean()
        if self.errors:
            return data
        point, typed = data["test_point"], data["expected"].strip()
        usual = self.usual.get(normalize_search(point), {})
        units = {unit for unit, *_ in usual}
        try:
            expected = bench_notation.parse_expected(typed)
        except NotationError as error:
            return self.add_error("expected", str(error))
        unit = expected.unit or (next(iter(units)) if len(units) == 1 else "")
        try:
            measured = bench_notation.parse_reading(data["value"], unit=unit)
        except NotationError as error:
            return self.add_error("value", str(error))
        if not typed and units and measured.unit not in units:
            known = " or ".join(sorted(units))
            return self.add_error(
                "value",
                f"Readings of {point} on this model are in {known}. Check the unit, or"
                " enter what you expect.",
            )
        if not typed and measured.kind in usual:
            expected = usual[measured.kind].expected
        try:
            expected = bench_notation.with_unit_of(expected, measured)
            stored = bench_notation.to_stored(measured, expected)
        except NotationError as error:
            return self.add_error("expected" if typed else "value", str(error))
        return stored._asdict() | {
            "test_point": point,
            "stage": data["stage"],
            "relation": measured.relation,
            "at_hertz": measured.at_hertz,
            "is_diode": measured.is_diode,
            "expects_open": expected.is_open,
        }


class RepairChoiceForm(forms.Form):
    """Something booked on one repair of the job; asked only where there are several."""

    def __init__(self, *args, repairs, optional=False, **kwargs):
        super().__init__(*args, **kwargs)
        self.repairs = {repair.pk: repair for repair in repairs}
        if len(self.repairs) > 1:
            whole = [("", "whole job")] if optional else []
            codes = [(pk, one.fault.code) for pk, one in self.repairs.items()]
            self.fields["repair"] = forms.TypedChoiceField(
                choices=whole + codes,
                coerce=lambda pk: self.repairs[int(pk)],
                empty_value=None,
                label="For",
                required=not optional,
            )

    def clean(self):
        data = super().clean()
        if "repair" not in self.fields:
            data["repair"] = next(iter(self.repairs.values()), None)
        return data


class MinutesForm(RepairChoiceForm):
    minutes = count(1440, min_value=1, label="Minutes")
    note = forms.CharField(max_length=200, required=False, label="Note")
    is_billable = forms.BooleanField(required=False, initial=True, label="Billable")


class TimerForm(RepairChoiceForm):
    pass


class JobPartForm(RepairChoiceForm):
    part = PartField(datalist="parts-options", label="Part (type or scan)")
    quantity = count(999, min_value=1, initial=1, label="Quantity")
    delivery = forms.CharField(
        max_length=40,
        required=False,
        label="Lot",
        help_text="Blank: oldest first.",
        widget=forms.TextInput({"class": "code w12", "autocomplete": "off"}),
    )

    def clean(self):
        data = super().clean()
        part, lot = data.get("part"), data.get("delivery")
        data["delivery"] = None
        if part and lot:
            data["delivery"] = self._delivery(part, lot)
        if not self.repairs:
            self.add_error(None, "Add a fault first. Parts are booked to a repair.")
        return data

    def _delivery(self, part, lot):
        there = part.deliveries.filter(remaining__gt=0)
        found = list(there.filter(lot__iexact=lot)[:1])
        if found:
            return found[0]
        lots = ", ".join(filter(None, there.values_list("lot", flat=True)[:6]))
        self.add_error(
            "delivery",
            f"{part.number} has no lot “{lot}” in stock."
            + (f" In stock: {lots}." if lots else ""),
        )
        return None


class FinalTestForm(forms.Form):
    tries = count(MOST_TRIES, min_value=1, label="Tries")
    failed = count(MOST_TRIES, min_value=0, initial=0, label="Failures")
    note = forms.CharField(max_length=300, required=False, label="Test conditions")
    reproduces = forms.BooleanField(
        required=False, label="Same conditions as when it failed at the bench"
    )

    def clean(self):
        if self.cleaned_data.get("reproduces") and not self.cleaned_data.get("note"):
            self.add_error("note", "Enter the conditions: warm, moved, under load …")
        tries, failed = self.cleaned_data.get("tries"), self.cleaned_data.get("failed")
        if tries is not None and failed is not None and failed > tries:
            self.add_error("failed", f"Enter at most {tries}, the number of tries.")


class CloseForm(forms.Form):
    """What came of one repair."""

    outcome = forms.ChoiceField(choices=list(states.OUTCOMES.items()), label="Outcome")
    fix_type = forms.ChoiceField(
        choices=fix_types.CHOICES,
        label="Type",
        error_messages={"required": "Select the type: lasting or stopgap."},
    )
    no_part_needed = forms.BooleanField(required=False, label="No parts needed")
    note = text(max_length=4000, label="Note for the next repair")

    def __init__(self, *args, repair, verdicts=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.repair = repair
        usual = repair.fix.fix_type if repair.fix else ""
        if repair.fix and verdicts:
            found = standing(verdicts, repair.fault_id, repair.fix)
            usual = found.for_customer
            if found.mismatch:
                self.fields["fix_type"].help_text = f"{found.text}.".capitalize()
        self.initial = {
            "outcome": repair.outcome or states.FIXED,
            "fix_type": repair.fix_type or usual,
            "no_part_needed": repair.no_part_needed,
            "note": repair.note,
        } | self.initial

    def clean(self):
        data = super().clean()
        if data.get("outcome") in states.NOT_REPAIRED:
            data["fix_type"] = ""
        return data
