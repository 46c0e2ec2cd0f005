"""Text as it is stored: readable on every screen and paper, in any script."""

import re
import unicodedata

# Joiners that some scripts, and some emoji, are spelt with.
JOINERS = "\u200c\u200d"
LINE_ENDS = "\t\n\r"
# Arabic, Syriac and Kaithi signs that are seen, although Unicode calls them formats.
SEEN_FORMATS = frozenset(
    "\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2"
    "\U000110bd\U000110cd"
)
MAX_ACCENTS = 4
"""Accents on one letter; no script needs more, and more would overlap other lines."""
MAX_MARKS = 8
"""All marks on one letter, with vowels and stacked letters."""
PLAIN = re.compile(r"[\t\n\r -~]*", re.ASCII)


def clean_text(text: str) -> str:
    """Return `text` in NFC without invisible characters and heaps of marks.

    Removed are control characters, marks that turn the direction of a line, spaces
    without width and lone surrogates. Line breaks and joiners stay.
    """
    if PLAIN.fullmatch(text):
        return text
    kept: list[str] = []
    accents = marks = 0
    for character in unicodedata.normalize("NFC", text):
        if _is_invisible(character):
            continue
        if unicodedata.category(character) in ("Mn", "Me"):
            marks += 1
            accents += unicodedata.combining(character) > 0
            if accents > MAX_ACCENTS or marks > MAX_MARKS:
                continue
        elif character not in JOINERS:
            accents = marks = 0
        kept.append(" " if character in "\u2028\u2029" else character)
    # A mark that has lost what stood before it may now be one with its letter.
    return unicodedata.normalize("NFC", "".join(kept))


def _is_invisible(character: str) -> bool:
    match unicodedata.category(character):
        case "Cc":
            return character not in LINE_ENDS
        case "Cf":
            return character not in JOINERS and character not in SEEN_FORMATS
        case "Co" | "Cs":
            return True
    return False
