"""Numbers of the shop: assigned without gaps, written in one form, read in any.

Invoices, credit notes and receipts have a series and a number in it, INV26-00042; jobs
have the year and a number in it, 26-00412. On a label a check character follows:
ISO/IEC 7064 MOD 37,36, which detects every wrong character and nearly every swap of two
neighbours.
"""

import re
from datetime import date

from django.db import transaction
from django.db.models import F
from django.utils.timezone import localdate
from django.utils.translation import gettext

from shopdesk.errors import RefusedError
from shopdesk.shop.models.number_series import Series
from shopdesk.shop.models.shop import Shop

YEAR = "{yy}"
INVOICES, CREDITS = "invoice", "credit"
LABELS = {INVOICES: "invoices", CREDITS: "credit notes", "": "something else"}
"""What a series numbers."""

# As printed on documents, also with another separator or without leading zeros.
WHOLE = re.compile(
    r"([A-Z0-9]*[A-Z][A-Z0-9]*?)(?:[\s/–-]+0*([0-9]{1,9})|([0-9]{5}))",
    re.ASCII | re.IGNORECASE,
)
PART = re.compile(
    r"([A-Z0-9]*)[\s/–-]+([0-9]{0,9})|([0-9]{1,9})|([A-Z]+[0-9]+[A-Z]*)",
    re.ASCII | re.IGNORECASE,
)
PATTERN = re.compile(r"[A-Z0-9]*(?:\{yy\})?[A-Z0-9]*", re.ASCII)
ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

# --- patterns of series ---------------------------------------------------------------


def normalize_pattern(pattern: str) -> str:
    """Return a pattern such as INV{yy} in capitals, as printed on documents."""
    return pattern.strip().upper().replace(YEAR.upper(), YEAR)


def pattern_error(pattern: str) -> str:
    """Return what is wrong with a pattern, as a sentence; "" if nothing is."""
    if not PATTERN.fullmatch(pattern):
        return gettext(
            "Use letters, digits and once {yy} for the year, such as INV{yy}."
        )
    if not re.search("[A-Z]", pattern.replace(YEAR, "")):
        return gettext("Use at least one letter, or it would look like a job number.")
    return ""


def series_name(pattern: str, *, on: date) -> str:
    """Return the series that a document of this day belongs to: INV26."""
    return pattern.replace(YEAR, f"{on:%y}")


def possible_series_names(pattern: str) -> frozenset[str]:
    """Return every series that the pattern can give, whatever the year."""
    return frozenset(pattern.replace(YEAR, f"{year:02}") for year in range(100))


# --- giving ---------------------------------------------------------------------------


class NumberSeriesError(RefusedError):
    """Numbers of two kinds would mix in one series."""


class DateOrderError(RefusedError):
    """A document would be dated before the last one of its series."""


@transaction.atomic
def give(series: str, *, kind: str = "", on: date | None = None) -> int:
    """Return the next number of a series: 1, 2, 3 …

    `on` is the date of the document, where dates must not go back. Call it in the
    transaction that stores the number; otherwise there may be a gap.

    Raises: NumberSeriesError, DateOrderError.
    """
    _, is_new = Series.objects.get_or_create(name=series, defaults={"kind": kind})
    # This locks the series.
    row = Series.objects.filter(name=series, kind=kind)
    if not row.update(last=F("last") + 1):
        raise NumberSeriesError(f"{series} has numbers of another kind already.")
    found = row.get()
    if is_new:
        _check_start(series, on=on)
    if on is None:
        return found.last
    if found.last_on is not None and on < found.last_on:
        raise DateOrderError(
            f"The last number of {series} is dated {found.last_on:%-d %B %Y}; this one"
            f" would be dated {on:%-d %B %Y}. Check the date of the server. If it is"
            " right, the owner can choose another prefix in the settings."
        )
    row.update(last_on=on)
    return found.last


def _check_start(series: str, *, on: date | None) -> None:
    """Refuse a new series while the clock is in doubt: its year may be wrong."""
    found = Shop.objects.filter(pk=1).values_list("clock_doubted_since", flat=True)
    if last_used := found.first():
        dated = f", dated {on:%-d %B %Y}" if on else ""
        raise DateOrderError(
            f"{series} would be a new series{dated}, and the date of the server may be"
            f" wrong: the shop was last used on {localdate(last_used):%-d %B %Y}."
            " Correct its clock, or let the owner confirm the date."
        )


def give_job_number(on: date) -> str:
    """Return the next job number of the year."""
    return job_number(on.year, give(f"job {on.year}"))


def advance_job_numbers(year: int, *, past: int) -> None:
    """Let the job numbers of a year continue after `past` if they are lower."""
    series, _ = Series.objects.get_or_create(name=f"job {year}")
    Series.objects.filter(pk=series.pk, last__lt=past).update(last=past)


# --- writing --------------------------------------------------------------------------


def full_number(series: str, number: int) -> str:
    """Return how a number is written: INV26-00042."""
    return f"{series}-{number:05d}"


def job_number(year: int, number: int) -> str:
    """Return `26-00412` for the 412th job of 2026."""
    return full_number(f"{year % 100:02d}", number)


def label_code(job: str) -> str:
    """Return the text of a label's code: the job number and its check character."""
    return f"{job}-{check_character(job)}"


def check_character(text: str) -> str:
    """Return the check character of `text`; only letters and digits count."""
    check = 36
    for character in text.upper():
        if character not in ALPHABET:
            continue
        check = (check + ALPHABET.index(character)) % 36 or 36
        check = check * 2 % 37
    return ALPHABET[(1 - check) % 36]


# --- reading --------------------------------------------------------------------------


def read(text: str) -> tuple[str, int] | None:
    """Return series and number of `text`, however INV26-00042 is typed: `inv26 42`."""
    whole = WHOLE.fullmatch(text.strip())
    return (whole[1].upper(), int(whole[2] or whole[3])) if whole else None


def read_part(text: str) -> tuple[str, str] | None:
    """Return a part of a series and digits of a number, if `text` may be part of one.

    `26-00042`, `INV26` and `00042` are; leading zeros are left out.
    """
    if whole := read(text):
        return whole[0], str(whole[1])
    part = PART.fullmatch(text.strip())
    if part is None:
        return None
    letters, digits = (part[1] or part[4] or ""), (part[2] or part[3] or "").lstrip("0")
    return (letters.upper(), digits) if letters or digits else None


def read_label(scanned: str) -> str | None:
    """Return the job number of a scanned label, or None if the check fails."""
    number, dash, check = scanned.strip().upper().rpartition("-")
    is_right = dash and number and check == check_character(number)
    return number if is_right else None
