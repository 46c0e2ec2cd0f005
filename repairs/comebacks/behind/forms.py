"""Which of the repairs that a page counts stand behind one of its numbers."""

from django import forms

from repairs.comebacks.forms import LONGEST_HORIZON, AskForm
from shopdesk.fields import DayFormField

COMEBACK, WATCHED, HELD = "comeback", "still watched", "held"
BECAME = {
    COMEBACK: "came back",
    WATCHED: "are still watched",
    HELD: "held all the time",
}
MOST = 2**31 - 1


class WhichForm(forms.Form):
    """What an address asks besides the day and the devices; empty for all."""

    became = forms.ChoiceField(choices=list(BECAME.items()), required=False)
    least = forms.IntegerField(min_value=0, max_value=LONGEST_HORIZON, required=False)
    """Came back after at least so many days, and `most` at most."""
    most = forms.IntegerField(min_value=0, max_value=LONGEST_HORIZON, required=False)
    since = DayFormField(required=False)
    """Were still watched on this day."""
    fault = forms.IntegerField(min_value=1, max_value=MOST, required=False)
    fix = forms.IntegerField(min_value=1, max_value=MOST, required=False)
    here = forms.BooleanField(required=False)
    """Comebacks that are still here."""

    def kept(self, *more: str) -> dict[str, str]:
        """What was asked, and `more`, to be asked again with another day."""
        names = (*self.fields, *AskForm.NARROWING, *more)
        return {name: self.data[name] for name in names if self.data.get(name)}

    def has(self, row) -> bool:
        """Whether a repair is one of those."""
        asked = self.cleaned_data
        return (
            (not asked["became"] or row.became == asked["became"])
            and (asked["least"] is None or row.days >= asked["least"])
            and (asked["most"] is None or row.days <= asked["most"])
            and (asked["fault"] is None or row.repair.fault_id == asked["fault"])
            and (asked["fix"] is None or row.repair.fix_id == asked["fix"])
        )
