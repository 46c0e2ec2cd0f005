"""What is typed about a customer: names in one form, telephone numbers that can be
dialled."""

import phonenumbers
from django import forms
from django.core.exceptions import ValidationError

from repairs.customers.names import normalize_text
from shopdesk.templatetags.desk import phone


class NormalizedCharField(forms.CharField):
    """Text in one form, without what can't be seen."""

    def __init__(self, *, keep_lines=False, **kwargs):
        self.keep_lines = keep_lines
        if keep_lines:
            kwargs.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
        super().__init__(**kwargs)

    def to_python(self, value):
        text = super().to_python(value)
        return normalize_text(text, keep_lines=self.keep_lines) if text else text


class PhoneField(NormalizedCharField):
    """A phone number, typed as dialled from the shop, stored as E.164.

    Its form sets `shop`.
    """

    def __init__(self, **kwargs):
        kwargs.setdefault("max_length", 40)
        kwargs.setdefault(
            "widget", forms.TextInput(attrs={"type": "tel", "class": "w12"})
        )
        super().__init__(**kwargs)

    def clean(self, value):
        text = super().clean(value)
        return e164(text, country=self.shop.country) if text else ""

    def prepare_value(self, value):
        is_e164 = value and value.startswith("+") and value[1:].isdigit()
        return phone(value, self.shop) if is_e164 else value


def e164(text: str, *, country: str) -> str:
    """`text` as E.164, or a ValidationError that says what is wrong with it."""
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException:
        raise ValidationError(
            "This is not a telephone number. Write digits, with + and the country code"
            " where it is a foreign one.",
            code="not_a_number",
        ) from None
    if number.extension:
        raise ValidationError(
            "Leave the extension out here and write it into the notes.",
            code="extension",
        )
    result = phonenumbers.is_possible_number_with_reason(number)
    told = {
        phonenumbers.ValidationResult.TOO_SHORT: "has too few digits",
        phonenumbers.ValidationResult.IS_POSSIBLE_LOCAL_ONLY: "lacks its area code",
        phonenumbers.ValidationResult.TOO_LONG: "has too many digits",
    }
    if result != phonenumbers.ValidationResult.IS_POSSIBLE:
        raise ValidationError(
            f"This number {told.get(result, 'can’t be dialled')}. A foreign one starts"
            " with + and the country code.",
            code="not_possible",
        )
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def phone_of(text: str, *, country: str) -> str:
    """`text` as E.164 where it is a whole telephone number, else nothing."""
    try:
        return e164(text, country=country)
    except ValidationError:
        return ""
