"""What a new shop is suggested for its country: a small file for each preset."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from babel.core import get_global
from babel.localedata import exists
from babel.numbers import get_territory_currencies

from shopdesk.shop import currencies

FILES = Path(__file__).with_name("presets")
OTHER = "other"


@dataclass(frozen=True)
class Preset:
    """Suggestions for the settings of the same names, and what the page says and asks.

    `tax_choices` are the fields about tax that are asked, `tax_number` says what the
    number looks like there; `no_tax_reason` is printed by a shop that is not registered
    for tax.
    """

    country: str
    locale: str
    time_zone: str
    paper: str
    paper_language: str
    tax_name: str
    prices_include_tax: bool
    tax_number: str
    tax_choices: list[str]
    no_tax_reason: str

    def settings(self, country: str) -> dict[str, object]:
        """Return the suggested settings of a shop in `country` (ISO 3166)."""
        return {
            "country": country,
            "currency": currency_of(country),
            "locale": self.locale or locale_of(country),
            "time_zone": self.time_zone,
            "paper": self.paper,
            "paper_language": self.paper_language,
            "tax_name": self.tax_name,
            "prices_include_tax": self.prices_include_tax,
        }


@cache
def preset_of(country: str) -> Preset:
    """Return the preset of a country, or the one for all others."""
    file = FILES / f"{country.lower()}.toml"
    if country not in currencies.countries() or not file.exists():
        file = FILES / f"{OTHER}.toml"
    return Preset(**tomllib.loads(file.read_text(encoding="utf-8")))


@cache
def with_preset() -> dict[str, str]:
    """Return the countries that have a preset, with their names."""
    names = currencies.countries()
    codes = {file.stem.upper() for file in FILES.glob("*.toml")} & set(names)
    return {code: names[code] for code in sorted(codes, key=names.__getitem__)}


def currency_of(country: str) -> str:
    """Return the currency in use in a country today (CLDR)."""
    return get_territory_currencies(country)[0]


def locale_of(country: str) -> str:
    """Return how numbers are written in a country (CLDR).

    In the language that most people speak there, if it uses Latin letters, else in
    English.
    """
    likely = get_global("likely_subtags").get(f"und_{country}", "")
    language, _, script = likely.partition("_")
    if script.startswith("Latn"):
        return f"{language}_{country}"
    english = f"en_{country}"
    return english if exists(english) else "en"
