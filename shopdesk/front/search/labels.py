"""What a scanner types, and what a keyboard that is set otherwise makes of it."""

import re

from shopdesk.shop.numbering import read_label

OUR_LABEL = re.compile(r"\d{2}-\d{5,}-[0-9A-Z]", re.ASCII | re.IGNORECASE)
# Scanners type on an American keyboard; a German one has a ß where that has its dash.
GERMAN = str.maketrans("ßyzYZ", "-zyZY")


def readings(words: str) -> list[str]:
    """The words as they were typed, and as the label may have them."""
    scanned = words.translate(GERMAN) if "ß" in words else words
    return list(dict.fromkeys([words, scanned, scanned.replace("'", "-")]))


def is_misread(words: str) -> bool:
    """Whether it is a label of ours whose check character does not fit."""
    labels = [one for one in readings(words) if OUR_LABEL.fullmatch(one)]
    return bool(labels) and not any(read_label(one) for one in labels)
