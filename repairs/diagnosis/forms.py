"""What is typed or pressed where the diagnosis is shown."""

from django import forms

from repairs.faults.models import Check

BIG = 2**31 - 1


class ResultForm(forms.Form):
    """A check and its result, pressed or chosen; without a result it is removed."""

    check = forms.IntegerField(min_value=1, max_value=BIG, required=False)
    result = forms.CharField(max_length=120, required=False)
    # Of a list: the number of the check, “=” and the result.
    choice = forms.CharField(max_length=140, required=False)

    def clean(self):
        data = super().clean()
        number, result = data.get("check"), data.get("result", "")
        if choice := data.pop("choice", ""):
            text, _, result = choice.partition("=")
            number = int(text) if text.isdecimal() and len(text) < 10 else None
        found = Check.objects.filter(pk=number).first() if number else None
        if found is None:
            raise forms.ValidationError("Select a check and its result.")
        return {"check": found, "result": result}


class DeviceAndComplaintForm(forms.Form):
    """What the counter has typed so far, or the device it has chosen.

    The names are those of the booking screen.
    """

    device = forms.CharField(max_length=20, required=False)
    complaint = forms.CharField(max_length=2000, required=False)
    occurs_when = forms.CharField(max_length=300, required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        lengths = {"kind": 40, "maker": 60, "model": 80, "board_revision": 40}
        for name, length in lengths.items():
            field = forms.CharField(max_length=length, required=False)
            self.fields[f"d-{name}"] = field

    def names(self) -> dict[str, str]:
        """Return kind, maker, model and board revision of a new device."""
        names = ("kind", "maker", "model", "board_revision")
        return {name: self.cleaned_data[f"d-{name}"] for name in names}


class EntryQueryForm(forms.Form):
    """A search for another entry of the fault book."""

    query = forms.CharField(
        label="Code or words",
        max_length=200,
        widget=forms.TextInput({"autofocus": True}),
    )
