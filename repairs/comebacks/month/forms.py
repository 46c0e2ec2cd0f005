"""What one may ask of the month."""

from django import forms

from repairs.comebacks.forms import AskForm


class WhenForm(AskForm):
    """As of which day, and within how many days; a month is always of all repairs."""

    NARROWING = ()

    def __init__(self, asked, **facts):
        super().__init__(asked, **facts)
        for name in set(self.fields) - {"as_of", "within"}:
            del self.fields[name]

    @staticmethod
    def _names_on_record():
        return {}


class BoardForm(forms.Form):
    """Which board revision of a model."""

    revision = forms.CharField(max_length=40)
