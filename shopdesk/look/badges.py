"""The badge of a state: its icon and its word."""

from functools import cache, lru_cache

from django.utils.html import format_html

from shopdesk.look.symbols import ATTENTION, SHAPES, icon_for


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

    Icon and attention follow the word (shopdesk/look/symbols.py) unless given.
    """
    if not word:
        return ""
    return _badge(str(word), icon_name, needs_attention)


@lru_cache(maxsize=1024)  # few words, on many rows
def _badge(word, icon_name, needs_attention):
    if needs_attention is None:
        needs_attention = word.lower() in ATTENTION
    return format_html(
        '<span class="badge{}">{}{}</span>',
        " hot" if needs_attention else "",
        icon(icon_name or icon_for(word)),
        word,
    )
