"""How amounts, dates, durations and phone numbers are written for the shop."""

import re
from decimal import Decimal
from functools import lru_cache

import phonenumbers
from babel.numbers import format_currency, format_decimal
from django.utils import formats, timezone
from django.utils.html import format_html, format_html_join
from django.utils.translation import get_language, gettext

from shopdesk.money import rounded
from shopdesk.shop import currencies

SHARES = re.compile(r"([<>]?[\d.]+(?:–[<>]?[\d.]+)? %)")


def money(amount, shop):
    """Write an amount as the shop does: `{{ line.price|money:shop }}` → €1,234.50."""
    if amount is None or amount == "":
        return ""
    return currencies.written(
        Decimal(amount), currency=shop.currency, locale=_number_locale(shop.locale)
    )


def _number_locale(locale):
    """Return the number format of the active language.

    On a German paper that is German, unless the shop's own format is a variant of
    German, such as the Swiss.
    """
    return currencies.locale_in(get_language() or "", locale=locale)


def price(amount, shop):
    """Write a unit price, with the further decimals that small parts need: €0.035."""
    if amount is None or amount == "":
        return ""
    if Decimal(amount) == rounded(Decimal(amount), places=shop.places):
        return money(amount, shop)
    text = format_currency(
        Decimal(amount).normalize(),
        shop.currency,
        locale=_number_locale(shop.locale),
        decimal_quantization=False,
    )
    return text.replace("\u202f", "\u00a0")


def decimal(number, shop):
    """Write a number as the shop does, without trailing zeros: 2.5."""
    if number is None or number == "":
        return ""
    text = format_decimal(
        Decimal(number).normalize(),
        locale=_number_locale(shop.locale),
        decimal_quantization=False,
    )
    return text.replace("\u202f", "\u00a0")


def no_break(text):
    """Keep shares and ranges in a sentence on one line: 35 %, 28–57 %."""
    parts = SHARES.split(str(text))
    pieces = [
        format_html('<span class="whole">{}</span>', part) if n % 2 else part
        for n, part in enumerate(parts)
    ]
    return format_html_join("", "{}", ((piece,) for piece in pieces))


def shop_text(shop, name):
    """Return a text of the shop: as typed, or the translated default."""
    text = getattr(shop, name)
    is_ours = text == shop._meta.get_field(name).default
    return gettext(text) if text and is_ours else text


def day(value):
    """Write a date: 5 Mar 2026. A moment gives its local date."""
    if not value:
        return ""
    if hasattr(value, "hour"):
        value = timezone.localtime(value) if timezone.is_aware(value) else value
        value = value.date()
    return _day(value, get_language())


@lru_cache(maxsize=4096)  # lists show the same days again and again
def _day(date, language):
    return formats.date_format(date, gettext("j M Y"))


def moment(value):
    """Write a moment in the shop's time zone: 5 Mar 2026, 14:05."""
    if not value:
        return ""
    value = timezone.localtime(value) if timezone.is_aware(value) else value
    return formats.date_format(value, gettext("j M Y, H:i"))


def minutes(value):
    """Write whole minutes: 95 → 1 h 35 min."""
    if value is None or value == "":
        return ""
    hours, rest = divmod(int(value), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def percent(value, places=0):
    """Write a share as a percentage: 0.126 → 13 %."""
    return "" if value is None or value == "" else f"{float(value) * 100:.{places}f} %"


def phone(number, shop):
    """Write a phone number as dialled from the shop: `{{ n|phone:shop }}`."""
    try:
        parsed = phonenumbers.parse(number or "", shop.country)
    except phonenumbers.NumberParseException:
        return number or ""
    at_home = phonenumbers.region_code_for_number(parsed) == shop.country
    form = phonenumbers.PhoneNumberFormat
    return phonenumbers.format_number(
        parsed, form.NATIONAL if at_home else form.INTERNATIONAL
    )
