"""Translation for plain files, which import no Django.

The app puts Django's functions in their place; without Django, texts stay English.
"""

from collections.abc import Callable


def _by_number(one: str, many: str, n: int) -> str:
    return one if n == 1 else many


_gettext: Callable[[str], str] = str
_ngettext: Callable[[str, str, int], str] = _by_number


def translate_by(
    gettext: Callable[[str], str], ngettext: Callable[[str, str, int], str]
) -> None:
    """Let `gettext` and `ngettext` of this file call these."""
    global _gettext, _ngettext
    _gettext, _ngettext = gettext, ngettext


def gettext(text: str) -> str:
    """Return a text in the active language."""
    return _gettext(text)


def ngettext(one: str, many: str, n: int) -> str:
    """Return the text for a number of things, in the active language."""
    return _ngettext(one, many, n)


def gettext_noop(text: str) -> str:
    """Return the text itself; it is translated where it is shown."""
    return text
