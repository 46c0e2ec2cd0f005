from django import forms

from repairs.jobs import states
from repairs.jobs.models import StopgapAnswer
from shopdesk.fields import DayFormField

YES, NO = "yes", "no"


class ReturnAssessmentForm(forms.Form):
    """What a return is, against which repair, and who bears the cost."""

    earlier = forms.TypedChoiceField(
        coerce=int, label="Earlier repair", widget=forms.RadioSelect
    )
    assessment = forms.ChoiceField(
        choices=list(states.RETURN_ASSESSMENTS.items()),
        label="Assessment",
        widget=forms.RadioSelect,
    )
    in_warranty = forms.ChoiceField(
        choices=[(YES, "yes, free of charge"), (NO, "no, chargeable")],
        label="In warranty",
        widget=forms.RadioSelect,
    )
    why = forms.CharField(
        max_length=500,
        required=False,
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Required if you decide differently from the warranty dates.",
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args, job, earlier, may_decide, **kwargs):
        super().__init__(*args, **kwargs)
        if not may_decide:
            self.fields["assessment"].choices = [
                (states.UNDECIDED, states.RETURN_ASSESSMENTS[states.UNDECIDED])
            ]
            self.fields[
                "assessment"
            ].help_text = "The bench decides, after it has verified the complaint."
        self.job, self.earlier = job, {repair.pk: repair for repair in earlier}
        field = self.fields["earlier"]
        field.choices = [(repair.pk, self._label(repair)) for repair in earlier]
        self.initial = {"version": job.version, **self._in_force(), **self.initial}

    def _in_force(self):
        decision = self.job.decision
        if decision:
            return {
                "earlier": decision.earlier_id,
                "assessment": decision.assessment,
                "in_warranty": YES if decision.is_in_warranty else NO,
                "why": decision.why,
            }
        latest = next(iter(self.earlier.values()), None)
        if latest is None:
            return {}
        return {
            "earlier": latest.pk,
            "in_warranty": YES if latest.still_in_warranty else NO,
        }

    @staticmethod
    def _label(repair):
        fix = f" / {repair.fix.code}" if repair.fix else ""
        return f"{repair.job.number}: {repair.fault.code}{fix}"

    def clean_earlier(self):
        return self.earlier[self.cleaned_data["earlier"]]

    def clean_in_warranty(self):
        return self.cleaned_data["in_warranty"] == YES

    def clean(self):
        data = super().clean()
        if self.errors:
            return data
        earlier, assessment, why = (
            data["earlier"],
            data["assessment"],
            data["why"].strip(),
        )
        is_in_warranty = data.pop("in_warranty")
        if is_in_warranty and assessment not in (states.SAME_FAULT, states.UNDECIDED):
            self.add_error("in_warranty", "Only the same fault can be in warranty.")
        elif (
            assessment == states.SAME_FAULT
            and is_in_warranty != earlier.still_in_warranty
            and not why
        ):
            held = "included" if earlier.still_in_warranty else "had ended before"
            self.add_error(
                "why",
                f"The warranty {held} that day. Enter a reason for the exception.",
            )
        return data | {"is_in_warranty": is_in_warranty, "why": why}


class StopgapAnswerForm(forms.Form):
    """How a stopgap holds, by the button that is pressed, and when to ask again."""

    answer = forms.ChoiceField(
        choices=StopgapAnswer.Answer.choices,
        error_messages={"required": "Select an answer."},
    )
    ask_on = DayFormField(
        required=False,
        label="Ask again on",
        help_text="Blank: not again; after no answer, in 7 days.",
    )

    def __init__(self, *args, repair, on, **kwargs):
        super().__init__(*args, prefix=f"ask-{repair.pk}", **kwargs)
        self.repair, self.on = repair, on

    def clean_ask_on(self):
        asked = self.cleaned_data["ask_on"]
        if asked is not None and asked <= self.on:
            raise forms.ValidationError("Enter a day after today.")
        return asked
