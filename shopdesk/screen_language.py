"""The language of the screens: what a user chose, within SCREEN_LANGUAGES."""

from django.conf import settings
from django.utils.translation import get_language_info
from django.utils.translation.trans_real import parse_accept_lang_header


def locale_of(language: str) -> str:
    """Return the locale to activate for a language; English has a variant: en-gb."""
    own = settings.LANGUAGE_CODE
    return own if own.split("-")[0] == language else language


def default_language() -> str:
    """Return the language for who has chosen none."""
    own = settings.LANGUAGE_CODE.split("-")[0]
    return own if own in settings.SCREEN_LANGUAGES else settings.SCREEN_LANGUAGES[0]


def language_of_user(chosen: str) -> str:
    """Return the language of a user by `User.language`; one not listed counts as
    none.
    """
    return chosen if chosen in settings.SCREEN_LANGUAGES else default_language()


def language_of_browser(accepted: str) -> str:
    """Return the first language of the header Accept-Language that is listed."""
    for code, _ in parse_accept_lang_header(accepted.lower()):
        language = code.split("-")[0]
        if language in settings.SCREEN_LANGUAGES:
            return language
    return default_language()


def own_name(language: str) -> str:
    """Return the name of a language in that language: Deutsch."""
    name: str = get_language_info(language)["name_local"]
    return name
