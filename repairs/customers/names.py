"""Names as people type them: kept as they are meant, in one form.

No script is refused. What can't be seen, and would make two equal names differ or turn
the line around on paper, is taken out.
"""

import unicodedata

# Joiners that some scripts, and some emoji, are spelt with.
JOINERS = "\u200c\u200d"
MOST_MARKS = 4
"""Accents on one letter; no script needs more, and more would run over other lines."""


def tidy(text: str, *, keep_lines: bool = False) -> str:
    """`text` in composed form, without what can't be seen, single spaces between."""
    if keep_lines:
        lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
        return "\n".join(tidy(line) for line in lines).strip("\n")
    kept: list[str] = []
    marks = 0
    for character in unicodedata.normalize("NFC", text):
        marks = marks + 1 if unicodedata.combining(character) else 0
        is_unseen = unicodedata.category(character) in ("Cf", "Co", "Cs")
        if marks > MOST_MARKS or (is_unseen and character not in JOINERS):
            continue
        kept.append(character)
    return " ".join("".join(kept).split())


def phone_digits(words: str) -> tuple[str, ...]:
    """The digits of a telephone number, as they may stand in E.164; none where it is
    no number.

    `020 7946 0018` is kept as `+442079460018`: what is dialled before the number
    inside a country, or to get out of it, is no part of that.
    """
    words = words.replace("(0)", "")
    digits = "".join(c for c in words if c in "0123456789")
    if len(digits) < 3 or any(c not in "0123456789 +-/.()" for c in words):
        return ()
    bare = digits.lstrip("0")
    return (digits, bare) if bare != digits and len(bare) >= 3 else (digits,)
