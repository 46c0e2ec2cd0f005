"""Fields that several rooms share: exact amounts, whole numbers and plausible dates.

SQLite stores a DecimalField as a binary fraction (three times 0.10 is not 0.30 there),
so an amount is a whole number of 1/10000 in the database and a Decimal in Python.
"""

import re
from datetime import date, timedelta
from decimal import Decimal

from django import forms
from django.core import checks
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.db import models
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext

from shopdesk.money import LIMIT, UNIT, piece_places, rounded

DIGITS = re.compile(r"-?[0-9]{1,13}(?:\.[0-9]{1,4})?", re.ASCII)


class ExactFormField(forms.CharField):
    """Digits with one decimal point or comma, and nothing else.

    No exponent, thousands separator, NaN or digits of other scripts: each of these
    could be read as a different amount.
    """

    def __init__(
        self,
        *,
        places=4,
        min_value=None,
        max_value=LIMIT,
        allow_negative=False,
        **kwargs,
    ):
        self.places = places
        self.min_value = (
            min_value if min_value is not None else (-LIMIT if allow_negative else 0)
        )
        self.max_value = max_value
        # No max_length: CharField would call len() on the amount.
        super().__init__(strip=False, **kwargs)
        self.widget.attrs.setdefault("inputmode", "decimal")
        self.widget.attrs.setdefault("autocomplete", "off")

    def to_python(self, value):
        if isinstance(value, Decimal | int):
            return Decimal(value)
        text = super().to_python(value).strip(" \t\r\n")
        if text in self.empty_values:
            return None
        text = (
            text.replace(",", ".") if text.count(",") + text.count(".") == 1 else text
        )
        if not DIGITS.fullmatch(text):
            raise ValidationError(
                gettext("Enter an amount such as 1234.50."), code="invalid"
            )
        amount = Decimal(text) + 0  # -0 becomes 0
        if -amount.as_tuple().exponent > self.places and amount != round(
            amount, self.places
        ):
            raise ValidationError(
                gettext("Use at most %(places)s decimal places.")
                % {"places": self.places}
                if self.places
                else gettext("Enter a whole amount, without decimal places."),
                code="decimals",
            )
        return amount

    def validate(self, value):
        super().validate(value)
        if value is None:
            return
        if value < self.min_value:
            raise ValidationError(
                gettext("Enter at least %(min_value)s.")
                % {"min_value": self.min_value},
                code="min_value",
            )
        if value > self.max_value:
            raise ValidationError(
                gettext("Enter at most %(max_value)s.") % {"max_value": self.max_value},
                code="max_value",
            )

    def prepare_value(self, value):
        if isinstance(value, Decimal):
            value = value.normalize()
            exponent = value.as_tuple().exponent
            wanted = -2 if self.places >= 2 and exponent > -2 and exponent < 0 else None
            value = value.quantize(Decimal(1).scaleb(wanted)) if wanted else value
            return f"{value:f}"
        return value


class MoneyFormField(ExactFormField):
    """An amount of a currency as typed by staff, with no more decimals than it has.

    Its form calls `use_currency`; before, it accepts nothing. `is_per_piece` is for
    the price or cost of one piece, which may have fractions of a cent.
    """

    shown = None

    def __init__(self, *, places=None, is_per_piece=False, **kwargs):
        super().__init__(**kwargs)
        self.is_per_piece = is_per_piece
        if places is not None:
            self.use(places)

    def use(self, places: int) -> None:
        """Set the decimals of the currency."""
        self.shown = places
        self.places = piece_places(places) if self.is_per_piece else places

    def to_python(self, value):
        if self.shown is None:
            raise ImproperlyConfigured("This form does not say which currency it uses.")
        return super().to_python(value)

    def prepare_value(self, value):
        if isinstance(value, Decimal) and self.shown is not None:
            whole = rounded(value, places=self.shown)
            if whole == value:
                return f"{whole:f}"
        return super().prepare_value(value)


def use_currency(form: forms.BaseForm, places: int) -> None:
    """Let all money fields of `form` accept a currency with so many decimals."""
    for field in form.fields.values():
        if isinstance(field, MoneyFormField):
            field.use(places)


class WholeNumberField(forms.IntegerField):
    """A whole number; 1_000 and digits of other scripts are refused."""

    def __init__(self, *, max_value=100_000, min_value=0, **kwargs):
        super().__init__(max_value=max_value, min_value=min_value, **kwargs)

    def to_python(self, value):
        text = str(value).strip() if value is not None else ""
        if text and not re.fullmatch(r"-?[0-9]{1,18}", text, re.ASCII):
            raise ValidationError(
                gettext("Enter a whole number such as 12."), code="invalid"
            )
        return super().to_python(value)


class FixedDecimalField(models.BigIntegerField):
    """A Decimal with four places, stored as a whole number of 1/10000."""

    description = "An exact decimal with four places"

    def __init__(self, *args, **kwargs):
        """`limits` are what a form accepts."""
        limits = ("places", "min_value", "max_value", "is_per_piece")
        self.limits = {name: kwargs.pop(name) for name in limits if name in kwargs}
        super().__init__(*args, **kwargs)

    def from_db_value(self, value, expression, connection):
        return None if value is None else Decimal(value) / UNIT

    def to_python(self, value):
        if value is None or isinstance(value, Decimal):
            return value
        try:
            return Decimal(str(value))
        except ArithmeticError:
            raise ValidationError(
                gettext("This is not a number."), code="invalid"
            ) from None

    def get_prep_value(self, value):
        if value is None or hasattr(value, "resolve_expression"):
            return value
        amount = Decimal(value)
        if not amount.is_finite() or abs(amount) > LIMIT:
            raise ValueError(f"{value} is no amount that can be stored.")
        scaled = amount * UNIT
        if scaled != scaled.to_integral_value():
            raise ValueError(f"{value} has more than four decimals.")
        return int(scaled)

    def get_db_prep_value(self, value, connection, prepared=False):
        return value if prepared else self.get_prep_value(value)

    @property
    def validators(self):
        # The validators of BigIntegerField would check the stored whole number.
        return self._validators

    def value_to_string(self, obj):
        value = self.value_from_object(obj)
        return None if value is None else str(value)

    def formfield(self, **kwargs):
        options = {"required": not self.blank, "label": capfirst(self.verbose_name)}
        options |= {"help_text": self.help_text, **self.limits, **kwargs}
        options.pop("choices_form_class", None)
        if self.has_default():
            options.setdefault("initial", self.default)
        return self.form_class(**options)

    form_class = ExactFormField


class MoneyField(FixedDecimalField):
    """An amount in the shop's currency."""

    description = "An exact amount of the shop's currency"
    form_class = MoneyFormField

    def check(self, **kwargs):
        errors = super().check(**kwargs)
        if self.has_default() and isinstance(self.default, float):
            errors.append(checks.Error("Money is never a float.", obj=self))
        return errors


class SmallNumberField(models.PositiveSmallIntegerField):
    """A small whole number, such as days or minutes; the limits apply to forms."""

    def __init__(self, *args, min_value=0, max_value=32_767, **kwargs):
        self.limits = {"min_value": min_value, "max_value": max_value}
        super().__init__(*args, **kwargs)

    def formfield(self, **kwargs):
        options = {"form_class": WholeNumberField, **self.limits, **kwargs}
        return super().formfield(**options)


class DayFormField(forms.DateField):
    """A date from 1990 to thirty years from now: anything else is a typing error."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def validate(self, value):
        super().validate(value)
        if value is None:
            return
        latest = timezone.localdate() + timedelta(days=30 * 365 + 8)
        if not date(1990, 1, 1) <= value <= latest:
            message = f"Enter a date from 1990-01-01 to {latest}."
            raise ValidationError(
                self.error_messages.get("out_of_range", message), code="out_of_range"
            )
