from django import forms

from repairs.comebacks.forms import MAX_ID


def _number():
    return forms.IntegerField(required=False, min_value=1, max_value=MAX_ID)


class WarningForm(forms.Form):
    """The record for which warnings are asked."""

    part = _number()
    job = _number()
    fault = _number()
    supplier = _number()
    device = _number()
    model = _number()
    revision = forms.CharField(required=False, max_length=40)
