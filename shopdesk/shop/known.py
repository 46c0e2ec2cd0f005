"""What the world's lists know: currencies, countries, ways of writing numbers."""

from functools import cache

from babel import Locale, UnknownLocaleError
from babel.numbers import (
    format_currency,
    get_currency_name,
    get_currency_precision,
    get_territory_currencies,
)

ENGLISH = Locale("en")


@cache
def countries() -> dict[str, str]:
    """ISO 3166 codes that have a currency of their own or share one, with names."""
    names = {code: name for code, name in ENGLISH.territories.items() if len(code) == 2}
    lived_in = {code for code in names if get_territory_currencies(code)}
    return {code: names[code] for code in sorted(lived_in, key=names.__getitem__)}


@cache
def currencies() -> dict[str, str]:
    """ISO 4217 codes that are legal tender somewhere today, with names."""
    codes = {code for land in countries() for code in get_territory_currencies(land)}
    return {code: get_currency_name(code, locale=ENGLISH) for code in sorted(codes)}


def places(currency: str) -> int:
    """Decimals of a currency."""
    return get_currency_precision(currency)


def sample(currency: str, *, locale: str) -> str | None:
    """An amount as it would be written; None where the locale is not known."""
    try:
        found = Locale.parse(locale)
        return format_currency(1234.5, currency, locale=found)
    except (UnknownLocaleError, ValueError):
        return None
