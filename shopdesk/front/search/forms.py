from django import forms

from repairs.customers.fields import NormalizedCharField


class FindForm(forms.Form):
    q = NormalizedCharField(
        label="Number, name, phone, serial, value, lot or code",
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "autocomplete": "off"}),
    )
    only = forms.CharField(required=False, widget=forms.HiddenInput)
