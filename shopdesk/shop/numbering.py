"""How bills are numbered: a pattern such as INV{yy}, its series, a number in it."""

import re
from datetime import date

YEAR = "{yy}"
INVOICES, CREDITS = "invoice", "credit"
CALLED = {INVOICES: "invoices", CREDITS: "credit notes", "": "something else"}
"""What a series numbers, by its kind."""

# As it stands on papers; or with something else than the dash, or without noughts.
WRITTEN = re.compile(
    r"([A-Z0-9]*[A-Z][A-Z0-9]*?)(?:[\s/–-]+0*([0-9]{1,9})|([0-9]{5}))",
    re.ASCII | re.IGNORECASE,
)
PART = re.compile(
    r"([A-Z0-9]*)[\s/–-]+([0-9]{0,9})|([0-9]{1,9})|([A-Z]+[0-9]+[A-Z]*)",
    re.ASCII | re.IGNORECASE,
)
WHOLE = re.compile(r"[A-Z0-9]*(?:\{yy\})?[A-Z0-9]*", re.ASCII)


def tidy(pattern: str) -> str:
    """`pattern` in capitals, as it stands on papers."""
    return pattern.strip().upper().replace(YEAR.upper(), YEAR)


def wrong(pattern: str) -> str:
    """What is wrong with a pattern, as a sentence; nothing where it is right."""
    if not WHOLE.fullmatch(pattern):
        return "Use letters, digits and once {yy} for the year, such as INV{yy}."
    if not re.search("[A-Z]", pattern.replace(YEAR, "")):
        return "Use at least one letter, or it would look like a job’s number."
    return ""


def named(pattern: str, *, on: date) -> str:
    """The series that a paper of the day `on` belongs to: INV26."""
    return pattern.replace(YEAR, f"{on:%y}")


def ever_named(pattern: str) -> frozenset[str]:
    """Every series that the pattern can give, whatever the year."""
    return frozenset(pattern.replace(YEAR, f"{year:02}") for year in range(100))


def full_number(series: str, *, number: int) -> str:
    """How a number is written: INV26-00042."""
    return f"{series}-{number:05d}"


def read_number(text: str) -> tuple[str, int] | None:
    """Series and number of `text`, however a hand wrote INV26-00042: `inv26 42`."""
    written = WRITTEN.fullmatch(text.strip())
    if written is None:
        return None
    return written[1].upper(), int(written[2] or written[3])


def read_part(text: str) -> tuple[str, str] | None:
    """A part of a series and digits of a number, where `text` may be part of one.

    `26-00042`, `INV26` and `00042` are; noughts that only fill up are left out.
    """
    text = text.strip()
    if whole := read_number(text):
        return whole[0], str(whole[1])
    part = PART.fullmatch(text)
    if part is None:
        return None
    letters, bare = (part[1] or part[4] or ""), (part[2] or part[3] or "").lstrip("0")
    return (letters.upper(), bare) if letters or bare else None
