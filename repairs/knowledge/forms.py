from django import forms

from repairs.comebacks.forms import MAX_ID


class RepairForm(forms.Form):
    """The repair for which a fix is being chosen, in the address of a fragment."""

    repair = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)

    @property
    def number(self) -> int | None:
        return self.cleaned_data["repair"] if self.is_valid() else None
