from django import forms

from repairs.comebacks.forms import MAX_ID
from repairs.faults import fix_types


class RecordedForm(forms.Form):
    """The type recorded of a past repair, if it is not asked for the fault book’s."""

    recorded = forms.ChoiceField(choices=fix_types.CHOICES, required=False)


class StandingForm(forms.Form):
    """The record for whose fixes the verdicts are asked."""

    part = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)
    fix = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)


class RepairForm(forms.Form):
    """The repair for which a fix is being chosen, in the address of a fragment."""

    repair = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)

    @property
    def number(self) -> int | None:
        return self.cleaned_data["repair"] if self.is_valid() else None
