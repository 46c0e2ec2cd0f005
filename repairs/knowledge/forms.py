from django import forms

from repairs.comebacks.forms import MAX_ID
from repairs.faults import fix_types
from repairs.knowledge.models import BoardNote


class RecordedForm(forms.Form):
    """The type recorded of a past repair, if it is not asked for the fault book’s."""

    recorded = forms.ChoiceField(choices=fix_types.CHOICES, required=False)


class StandingForm(forms.Form):
    """The record for whose fixes the verdicts are asked."""

    part = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)
    fix = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)


class BoardNoteForm(forms.ModelForm):
    class Meta:
        model = BoardNote
        fields = ["model", "board_revision", "text"]
        widgets = {
            "board_revision": forms.TextInput({"class": "code w8"}),
            "text": forms.Textarea({"rows": 4}),
        }
        help_texts = {"text": "For example: lift the shield first; R14 is not fitted."}


class NotesForm(forms.Form):
    """The record for which notes are asked."""

    fault = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)
    job = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)


class RepairForm(forms.Form):
    """The repair for which a fix is being chosen, in the address of a fragment."""

    repair = forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)

    @property
    def number(self) -> int | None:
        return self.cleaned_data["repair"] if self.is_valid() else None
