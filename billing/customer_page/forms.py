"""What the customer enters, including a drawn signature."""

import re

from django import forms
from django.utils.translation import gettext_lazy

from billing.quotes.forms import OptionChoice
from billing.quotes.models import QuoteOption

SIGNATURE_WIDTH, SIGNATURE_HEIGHT = 600, 200
MAX_SIGNATURE_LENGTH = 8000  # characters; about a thousand points

_POINT = r"[0-9]{1,3} [0-9]{1,3}"
_PATH = re.compile(rf"(?:M{_POINT}(?:L{_POINT})*)+", re.ASCII)


def is_signature_path(path: str) -> bool:
    """Whether an SVG path consists of M and L with whole numbers inside the box."""
    if len(path) > MAX_SIGNATURE_LENGTH or not _PATH.fullmatch(path):
        return False
    points = [point.split() for point in re.split("[ML]", path) if point]
    return all(
        int(x) <= SIGNATURE_WIDTH and int(y) <= SIGNATURE_HEIGHT for x, y in points
    )


class CustomerAnswerForm(forms.Form):
    """The customer's answer and what they were shown; the whole form for extra work.

    `shown` is a fingerprint: of the quote's options or of the extra work.
    """

    who = forms.CharField(
        label=gettext_lazy("Your name"),
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    shown = forms.CharField(max_length=300, widget=forms.HiddenInput)

    def __init__(self, shown, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["shown"].initial = shown

    def is_current(self) -> bool:
        """Whether the customer saw what is to be answered now."""
        current = self.fields["shown"].initial
        return bool(current) and self["shown"].data == current


class AcceptQuoteForm(CustomerAnswerForm):
    option = OptionChoice(
        QuoteOption.objects.none(),
        label=gettext_lazy("Option"),
        widget=forms.RadioSelect,
        empty_label=None,
    )
    ink = forms.CharField(required=False, widget=forms.HiddenInput)

    field_order = ["option", "who"]

    def __init__(self, shown, *args, quote, written_in, with_pad, **kwargs):
        super().__init__(shown, *args, **kwargs)
        self.fields["option"].offer(quote, written_in=written_in)
        if not with_pad:
            del self.fields["ink"]

    def clean_ink(self):
        drawn = self.cleaned_data["ink"]
        if drawn and not is_signature_path(drawn):
            raise forms.ValidationError(
                gettext_lazy(
                    "The signature could not be read. Sign again or leave it blank;"
                    " your name is enough."
                )
            )
        return drawn


class DeclineQuoteForm(CustomerAnswerForm):
    why = forms.CharField(
        label=gettext_lazy("Reason"),
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=gettext_lazy(
            "For example: too expensive, bought another device, not now."
        ),
    )

    field_order = ["why", "who"]
