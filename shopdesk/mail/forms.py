from django import forms

from shopdesk.mail.models import Email

WHICH = {
    "waiting": Email.objects.waiting,
    "stuck": Email.objects.stuck,
    "sent": Email.objects.sent,
    "dropped": Email.objects.dropped,
}


class WhichForm(forms.Form):
    """Narrows the list; what makes no sense shows all."""

    which = forms.ChoiceField(
        label="Show", required=False, choices=[("", "all"), *((w, w) for w in WHICH)]
    )

    def letters(self):
        chosen = self.is_valid() and self.cleaned_data["which"]
        return WHICH[chosen]() if chosen else Email.objects.all()
