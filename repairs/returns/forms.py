from django import forms

from repairs.jobs import states
from repairs.jobs.models import Repair
from repairs.jobs.warranty import is_in_warranty

YES, NO = "yes", "no"


class DecideForm(forms.Form):
    """What a return is, against which repair, and who bears the cost."""

    earlier = forms.ModelChoiceField(
        Repair.objects.none(),
        label="Held against",
        widget=forms.RadioSelect,
        empty_label=None,
    )
    what = forms.ChoiceField(
        choices=list(states.RETURN_IS.items()),
        label="What it is",
        widget=forms.RadioSelect,
    )
    covered = forms.ChoiceField(
        choices=[(YES, "yes: free to the customer"), (NO, "no: it is new work")],
        label="Under cover",
        widget=forms.RadioSelect,
    )
    why = forms.CharField(
        max_length=500,
        required=False,
        label="Why",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Needed where the cover is decided otherwise than its dates say.",
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args, job, earlier, **kwargs):
        super().__init__(*args, **kwargs)
        self.job = job
        self.fields["earlier"].queryset = earlier
        self.fields["earlier"].label_from_instance = self._label
        self.initial = {"version": job.version, **self._as_it_stands(), **self.initial}

    def _as_it_stands(self):
        decision = self.job.decision
        if decision:
            return {
                "earlier": decision.earlier,
                "what": decision.what,
                "covered": YES if decision.is_in_warranty else NO,
                "why": decision.why,
            }
        latest = self.fields["earlier"].queryset.first()
        return {"earlier": latest, "covered": YES if self._by_dates(latest) else NO}

    def _by_dates(self, earlier):
        """Whether the cover of a repair reached the day this job came in."""
        until = earlier.warranty_until if earlier else None
        return is_in_warranty(self.job.booked_in_on, until=until)

    @staticmethod
    def _label(repair):
        fix = f" / {repair.fix.code}" if repair.fix else ""
        return f"{repair.job.number}: {repair.fault.code}{fix}"

    def clean(self):
        data = super().clean()
        if self.errors:
            return data
        by_dates = self._by_dates(data["earlier"])
        data["is_in_warranty"] = data["covered"] == YES
        if data["is_in_warranty"] and data["what"] not in (
            states.SAME_FAULT,
            states.UNDECIDED,
        ):
            self.add_error("covered", "Only the same fault can be under cover.")
        elif (
            data["what"] == states.SAME_FAULT
            and data["is_in_warranty"] != by_dates
            and not data["why"].strip()
        ):
            held = "reached" if by_dates else "had ended before"
            self.add_error(
                "why",
                f"Its cover {held} the day this came in: say why you decide otherwise.",
            )
        return data
