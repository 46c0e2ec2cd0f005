"""What is typed when the work is done: parts, final test, outcome."""

from django import forms

from repairs.bench.forms import MAX_TRIES, count, text
from repairs.comebacks.standing import standing
from repairs.faults import fix_types
from repairs.jobs import states


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


class FinalTestForm(forms.Form):
    tries = count(MAX_TRIES, min_value=1, label="Tries")
    failed = count(MAX_TRIES, min_value=0, initial=0, label="Failures")
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
