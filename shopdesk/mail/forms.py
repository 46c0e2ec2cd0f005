from django import forms
from django.utils.translation import gettext_lazy

from shopdesk.mail.models import Email

STATUSES = {
    "waiting": Email.objects.waiting,
    "failed": Email.objects.failed,
    "sent": Email.objects.sent,
    "discarded": Email.objects.discarded,
}


class StatusForm(forms.Form):
    """Filters the list; an unknown status shows all."""

    which = forms.ChoiceField(
        label=gettext_lazy("Status"),
        required=False,
        choices=[
            ("", gettext_lazy("all")),
            *((status, gettext_lazy(status)) for status in STATUSES),
        ],
    )

    def emails(self):
        chosen = self.is_valid() and self.cleaned_data["which"]
        return STATUSES[chosen]() if chosen else Email.objects.all()
