from django import forms

from shopdesk.post.models import Letter

WHICH = {
    "waiting": Letter.objects.waiting,
    "stuck": Letter.objects.stuck,
    "sent": Letter.objects.sent,
    "dropped": Letter.objects.dropped,
}


class WhichForm(forms.Form):
    """Narrows the list; what makes no sense shows all."""

    which = forms.ChoiceField(
        label="Show", required=False, choices=[("", "all"), *((w, w) for w in WHICH)]
    )

    def letters(self):
        chosen = self.is_valid() and self.cleaned_data["which"]
        return WHICH[chosen]() if chosen else Letter.objects.all()
