"""Form fields of the settings."""

from zoneinfo import available_timezones

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext

from shopdesk.shop import currencies, logo, numbering


class LinesField(forms.CharField):
    """Up to a number of short lines; empty ones are removed."""

    def __init__(self, *, most, **kwargs):
        self.most = most
        widget = forms.Textarea(attrs={"rows": 3})
        super().__init__(max_length=300, required=False, widget=widget, **kwargs)

    def to_python(self, value):
        lines = [line.strip() for line in super().to_python(value).splitlines()]
        return "\n".join(filter(None, lines))

    def validate(self, value):
        super().validate(value)
        if value.count("\n") >= self.most:
            raise ValidationError(
                gettext("Use at most %(most)s lines.") % {"most": self.most},
                code="lines",
            )


class CurrencyField(forms.ChoiceField):
    def __init__(self, **kwargs):
        names = currencies.currencies().items
        super().__init__(
            choices=lambda: [(c, f"{c} {n}") for c, n in names()], **kwargs
        )


class TimeZoneField(forms.ChoiceField):
    """A place of the IANA database, such as Europe/London."""

    def __init__(self, **kwargs):
        super().__init__(choices=self._places, **kwargs)

    @staticmethod
    def _places():
        names = sorted(name for name in available_timezones() if "/" in name)
        return [
            ("", "—"),
            *((n, n.replace("_", " ")) for n in names if "Etc/" not in n),
        ]


class SeriesField(forms.CharField):
    def __init__(self, **kwargs):
        widget = forms.TextInput(attrs={"class": "code w8", "autocomplete": "off"})
        super().__init__(max_length=8, widget=widget, **kwargs)

    def to_python(self, value):
        return numbering.normalize_pattern(super().to_python(value))

    def validate(self, value):
        super().validate(value)
        wrong = numbering.pattern_error(value)
        if wrong:
            raise ValidationError(wrong, code="pattern")


class LogoInput(forms.ClearableFileInput):
    """Shows the stored picture, accepts another, or removes it."""

    template_name = "shopdesk/shop/_logo.html"
    shown = ""

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        context["widget"]["shown"] = self.shown
        return context


class LogoField(forms.FileField):
    """A picture; its value is the bytes of a small PNG."""

    widget = LogoInput

    def to_python(self, data):
        file = super().to_python(data)
        if file is None:
            return None
        try:
            # One byte more than allowed is enough to see that it is too large.
            return logo.as_png(file.read(logo.MAX_BYTES + 1))
        except logo.LogoError as refusal:
            raise ValidationError(str(refusal), code="logo") from refusal
