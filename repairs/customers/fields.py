"""Form fields for names in one form and phone numbers that can be dialled."""

import phonenumbers
from django import forms
from django.core.exceptions import ValidationError

from repairs.customers.names import normalize_text
from shopdesk.look.shop_formats import phone


class NormalizedCharField(forms.CharField):
    """Text normalized as in `names`, without invisible characters.

    `attrs` are those of its box; `missing` is the error if it is left blank.
    """

    def __init__(self, *, keep_lines=False, attrs=None, missing="", **kwargs):
        self.keep_lines = keep_lines
        if keep_lines:
            kwargs.setdefault("widget", forms.Textarea({"rows": 3}))
        box = {"autocomplete": "off"} | (attrs or {})
        kwargs.setdefault("widget", forms.TextInput(box))
        super().__init__(**kwargs)
        if missing:
            self.error_messages["required"] = missing

    def to_python(self, value):
        text = super().to_python(value)
        return normalize_text(text, keep_lines=self.keep_lines) if text else text


class PhoneField(NormalizedCharField):
    """A phone number, typed as dialled from the shop, stored as E.164.

    Its form sets `shop`.
    """

    def __init__(self, **kwargs):
        widget = forms.TextInput({"type": "tel", "class": "w12"})
        super().__init__(max_length=40, widget=widget, **kwargs)

    def clean(self, value):
        text = super().clean(value)
        return e164(text, country=self.shop.phone_country) if text else ""

    def prepare_value(self, value):
        is_e164 = value and value.startswith("+") and value[1:].isdigit()
        return phone(value, self.shop) if is_e164 else value


def e164(text: str, *, country: str) -> str:
    """Return `text` as E.164; without `country`, it needs a country code.

    Raises: ValidationError that names the problem.
    """
    try:
        number = phonenumbers.parse(text, country or None)
    except phonenumbers.NumberParseException:
        if not country:
            raise ValidationError(
                "The shop is not set up yet, so its country is unknown. Enter the"
                " number with + and the country code."
            ) from None
        raise ValidationError(
            "This is not a phone number. Enter digits, with + and the country code for"
            " a foreign number."
        ) from None
    if number.extension:
        raise ValidationError(
            "Enter the number without its extension; add the extension to the notes."
        )
    result = phonenumbers.is_possible_number_with_reason(number)
    problems = {
        phonenumbers.ValidationResult.TOO_SHORT: "has too few digits",
        phonenumbers.ValidationResult.IS_POSSIBLE_LOCAL_ONLY: "has no area code",
        phonenumbers.ValidationResult.TOO_LONG: "has too many digits",
    }
    if result != phonenumbers.ValidationResult.IS_POSSIBLE:
        raise ValidationError(
            f"This number {problems.get(result, 'cannot be dialled')}. A foreign number"
            " starts with + and the country code."
        )
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def phone_of(text: str, *, country: str) -> str:
    """Return `text` as E.164 if it is a complete phone number, else an empty string."""
    try:
        return e164(text, country=country)
    except ValidationError:
        return ""


def find_record(records, pk: str | None):
    """Return the record whose number a form sent, None if there is none."""
    if pk and pk.isascii() and pk.isdigit() and len(pk) < 19:
        return records.filter(pk=pk).first()
    return None
