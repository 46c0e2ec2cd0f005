"""The badge of a state: its icon and its word."""

from functools import cache, lru_cache

from django.utils.html import format_html
from django.utils.translation import get_language, gettext

from shopdesk.look.symbols import ATTENTION, ICON_OF, SHAPES, icon_for


@cache
def icon(name):
    """A decorative icon, hidden from screen readers: `{% icon "triangle" %}`."""
    line, fill = SHAPES[name]
    return format_html(
        '<svg viewBox="0 0 12 12" aria-hidden="true" focusable="false">'
        '<path d="{}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
        '<path d="{}" fill="currentColor"/></svg>',
        line,
        fill,
    )


def badge(word, icon_name="", needs_attention=None):
    """A state as icon and word: `{% badge job.get_state_display %}`.

    Icon and attention follow the word (shopdesk/look/symbols.py) unless given. The word
    may be in English or in the active language, in which it is shown.
    """
    if not word:
        return ""
    known = _english_words(get_language())
    english = known.get(str(word).lower(), str(word))
    return _badge(gettext(str(word)), english, icon_name, needs_attention)


@cache
def _english_words(language):
    """Return the English words of states that have an icon, by those of a language."""
    words = [word for word in (*ICON_OF, *ATTENTION) if gettext(word) != word]
    return {gettext(word).lower(): word for word in words}


@lru_cache(maxsize=1024)  # few words, on many rows
def _badge(word, english, icon_name, needs_attention):
    if needs_attention is None:
        needs_attention = english.lower() in ATTENTION
    return format_html(
        '<span class="badge{}">{}{}</span>',
        " hot" if needs_attention else "",
        icon(icon_name or icon_for(english)),
        word,
    )
