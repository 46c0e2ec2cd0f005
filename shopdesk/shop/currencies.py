"""Currencies, countries and number formats of the world, from CLDR."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.numbers import (
    NumberPattern,
    get_currency_name,
    get_territory_currencies,
    parse_pattern,
)

from shopdesk.money import rounded

ENGLISH = Locale("en")

WHOLE = frozenset(
    "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF".split()
)
THOUSANDTHS = frozenset("BHD IQD JOD KWD LYD OMR TND".split())
"""Minor units by ISO 4217, list one. CLDR leaves them out where no such coins exist,
but invoices are not paid in coins alone.
"""

PAPER_LANGUAGES = {"en": "English", "de": "German (Deutsch)"}
"""The languages in which papers can be written."""


@cache
def countries() -> dict[str, str]:
    """Return ISO 3166 codes with names, of countries that have a currency."""
    names = {code: name for code, name in ENGLISH.territories.items() if len(code) == 2}
    lived_in = {code for code in names if get_territory_currencies(code)}
    return {code: names[code] for code in sorted(lived_in, key=names.__getitem__)}


@cache
def currencies() -> dict[str, str]:
    """Return ISO 4217 codes with names, of currencies that are legal tender today."""
    codes = {code for land in countries() for code in get_territory_currencies(land)}
    return {code: get_currency_name(code, locale=ENGLISH) for code in sorted(codes)}


def places(currency: str) -> int:
    """Return the decimals of a currency (ISO 4217)."""
    return 0 if currency in WHOLE else 3 if currency in THOUSANDTHS else 2


@dataclass(frozen=True)
class Currency:
    """The currency of a document, and the format of its numbers.

    Takes the place of the shop in a template: `{{ total|money:currency }}`. A sent
    quote keeps its currency when the shop's changes.
    """

    currency: str
    locale: str

    @property
    def places(self) -> int:
        """Return the decimals of the currency (ISO 4217)."""
        return places(self.currency)


class InCurrency:
    """A record with amounts in its own `currency`.

    It keeps that currency when the shop's changes.
    """

    currency: str

    @property
    def places(self) -> int:
        """Return the decimals of its currency."""
        return places(self.currency)

    def written_in(self, shop: Any) -> Currency:
        """Return its currency, with numbers in the shop's format."""
        return Currency(self.currency, shop.locale)


def written(amount: Decimal, *, currency: str, locale: str) -> str:
    """Return an amount with its currency, rounded with halves up."""
    digits = places(currency)
    text: str = _pattern(locale, digits).apply(
        # Rounded here, since Babel rounds halves to the even neighbour.
        rounded(amount, places=digits),
        locale,
        currency=currency,
        currency_digits=False,
    )
    # Few typefaces have the narrow no-break space; all have the usual one.
    return text.replace("\u202f", "\u00a0")


@cache
def _pattern(locale: str, digits: int) -> NumberPattern:
    pattern = parse_pattern(Locale.parse(locale).currency_formats["standard"].pattern)
    pattern.frac_prec = (digits, digits)
    return pattern


@cache
def locale_in(language: str, *, locale: str) -> str:
    """Return the locale of numbers in a text in `language`, for a shop's `locale`.

    The shop's locale is kept if it belongs to that language, and in English, the
    language of the screens.
    """
    spoken = language.split("-")[0]
    if spoken in ("", "en") or locale.split("_")[0] == spoken:
        return locale
    return spoken


def sample(currency: str, *, locale: str) -> str | None:
    """Return a sample amount; None if the locale is unknown."""
    try:
        return written(Decimal("1234.5"), currency=currency, locale=locale)
    except (UnknownLocaleError, ValueError):
        return None
