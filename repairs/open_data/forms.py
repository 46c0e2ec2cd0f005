from django import forms

from shopdesk.fields import DayFormField


class SharedPeriodForm(forms.Form):
    """Which jobs are shared, by the day of handover."""

    since = DayFormField(label="Handed over from", required=False)
    until = DayFormField(label="To", required=False)

    def clean(self):
        days = super().clean()
        since, until = days.get("since"), days.get("until")
        if since and until and until < since:
            self.add_error("until", "Enter a day that is not before the first.")
        return days
