"""Currencies, countries and number formats of the world, by the lists of CLDR."""

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
"""Minor units of ISO 4217, list one. CLDR leaves them out where nobody has coins for
them, but a bill is not paid in coins alone."""

PAPER_LANGUAGES = {"en": "English", "de": "German (Deutsch)"}
"""What papers can be written in."""


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
    """Decimals of a currency (ISO 4217)."""
    return 0 if currency in WHOLE else 3 if currency in THOUSANDTHS else 2


@dataclass(frozen=True)
class Currency:
    """The currency in which a document was written, and how its numbers look.

    Takes the place of the shop in a template: `{{ total|money:currency }}`. A sent
    quote keeps its own currency when the shop's changes.
    """

    currency: str
    locale: str

    @property
    def places(self) -> int:
        """Decimals of the currency (ISO 4217)."""
        return places(self.currency)


class InCurrency:
    """A record or value with amounts in a `currency` of its own.

    It keeps that currency when the shop's changes.
    """

    currency: str

    @property
    def places(self) -> int:
        """Decimals of its currency."""
        return places(self.currency)

    def written_in(self, shop: Any) -> Currency:
        """Its currency, with numbers as the shop writes them."""
        return Currency(self.currency, shop.locale)


def written(amount: Decimal, *, currency: str, locale: str) -> str:
    """An amount as it is written there, rounded to the currency, halves up."""
    digits = places(currency)
    text: str = _pattern(locale, digits).apply(
        # Rounded here since Babel would round halves to the even neighbour.
        rounded(amount, places=digits),
        locale,
        currency=currency,
        currency_digits=False,
    )
    # The narrow no-break space is in few typefaces; the usual one is in all.
    return text.replace("\u202f", "\u00a0")


@cache
def _pattern(locale: str, digits: int) -> NumberPattern:
    pattern = parse_pattern(Locale.parse(locale).currency_formats["standard"].pattern)
    pattern.frac_prec = (digits, digits)
    return pattern


@cache
def locale_in(language: str, *, locale: str) -> str:
    """How a text in `language` writes numbers for a shop that writes as in `locale`.

    The shop's own way goes before where it is one of that language; English, which the
    desk itself speaks, keeps to the shop's way whichever it is.
    """
    spoken = language.split("-")[0]
    if spoken in ("", "en") or locale.split("_")[0] == spoken:
        return locale
    return spoken


def sample(currency: str, *, locale: str) -> str | None:
    """An amount as it would be written; None where the locale is not known."""
    try:
        return written(Decimal("1234.5"), currency=currency, locale=locale)
    except (UnknownLocaleError, ValueError):
        return None
