"""How bills are numbered: a pattern such as INV{yy}, its series, a number in it."""

import re
from datetime import date

YEAR = "{yy}"
INVOICES, CREDITS = "invoice", "credit"
CALLED = {INVOICES: "invoices", CREDITS: "credit notes", "": "something else"}
"""What a series numbers, by its kind."""

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
