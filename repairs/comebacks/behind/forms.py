"""Which of the repairs that a page counts stand behind one of its numbers."""

from datetime import date

from django import forms

from repairs.comebacks.forms import LONGEST_HORIZON, AskForm
from shopdesk.fields import DayFormField

COMEBACK, WATCHED = "comeback", "still watched"
BECAME = {COMEBACK: "came back", WATCHED: "are still watched"}
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

    def has(self, row, *, as_of: date) -> bool:
        """Whether a repair is one of those."""
        asked = self.cleaned_data
        ends = row.job.device.out_of_use_on
        is_sold_on = ends is not None and ends <= as_of
        return (
            (not asked["became"] or row.became == asked["became"])
            and not (asked["became"] == WATCHED and is_sold_on)
            and (asked["least"] is None or row.days >= asked["least"])
            and (asked["most"] is None or row.days <= asked["most"])
            and (asked["fault"] is None or row.repair.fault_id == asked["fault"])
            and (asked["fix"] is None or row.repair.fix_id == asked["fix"])
        )
