"""Read the cells of a history file: dates, amounts, codes, parts."""

import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import phonenumbers

from shopdesk.money import piece_places

EARLIEST = date(1990, 1, 1)
MAX_MINUTES = 10_000
MAX_QUANTITY = 10_000
MAX_NAME = 120
"""Characters of a symptom, a check or its result."""
AMOUNT = re.compile(r"[0-9]{1,13}(?:\.[0-9]{1,4})?", re.ASCII)
EMAIL = re.compile(r"[^@\s,;<>()\"]+@[^@\s,;<>()\"]+\.[^@\s.,;<>()\"]+")
CODE = re.compile(r"[A-Z0-9]+(?:-[A-Z0-9]+)*", re.ASCII)
PART = re.compile(
    r"(?P<number>[^*@#;]{1,40})\*(?P<quantity>[0-9]{1,9})"
    r"(?:@(?P<cost>[^*@#;]*))?(?:#(?P<lot>[^;]{1,40}))?",
    re.ASCII,
)
PART_FORMAT = (
    "Use NUMBER*QTY@UNITCOST#DELIVERY, separated by ; (cost and delivery may be left"
    " out)."
)


class CellError(Exception):
    """A cell cannot be read; each argument is a sentence that says why."""


@dataclass(frozen=True)
class Bounds:
    """The limits set by the shop and the day.

    `latest` is the last date a row may have, `places` the currency's decimal places,
    `country` the one whose phone numbers need no country code.
    """

    latest: date
    places: int
    country: str

    @property
    def max_amount(self) -> Decimal:
        """The highest cost of a repair; currencies without cents have long amounts."""
        return Decimal(1_000_000 if self.places else 1_000_000_000)


@dataclass(frozen=True, slots=True)
class ImportedPart:
    """A part used in a repair; unit cost and delivery if known."""

    number: str
    quantity: int
    cost: Decimal | None = None
    lot: str = ""

    def __str__(self) -> str:
        cost = "" if self.cost is None else f"@{self.cost:f}"
        return f"{self.number}*{self.quantity}{cost}" + (self.lot and f"#{self.lot}")


@dataclass(frozen=True, slots=True)
class CheckAndResult:
    """A bench check by its name, and what it showed."""

    check: str
    result: str

    def __str__(self) -> str:
        return f"{self.check}={self.result}"


def total_cost(parts: tuple[ImportedPart, ...]) -> Decimal:
    """Return the cost of all parts with a known unit cost."""
    return sum(
        (part.cost * part.quantity for part in parts if part.cost is not None),
        Decimal(0),
    )


def read_text(text: str, bounds: Bounds) -> str:
    return text


def read_day(text: str, bounds: Bounds) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or day.isoformat() != text:
        raise CellError(f"{quoted(text)} is not a valid date. Use 2024-12-31.")
    if not EARLIEST <= day <= bounds.latest:
        raise CellError(
            f"{day} is outside the allowed range, {EARLIEST} to {bounds.latest}."
        )
    return day


def read_email(text: str, bounds: Bounds) -> str:
    if not EMAIL.fullmatch(text):
        raise CellError(f"{quoted(text)} is not a valid email address.")
    return text


def read_phone(text: str, bounds: Bounds) -> str:
    try:
        number = phonenumbers.parse(text, bounds.country or None)
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise CellError(f"{quoted(text)} is not a valid phone number.")
    if number.extension:
        raise CellError("Enter the phone number without extension.")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def read_code(text: str, bounds: Bounds) -> str:
    code = text.upper()
    if not CODE.fullmatch(code):
        raise CellError(
            f"{quoted(code)} is not a valid code. Use letters and digits in groups"
            " joined by hyphens, such as PWR-JACK-OPEN."
        )
    return code


def one_of(labels: Mapping[str, str]) -> Callable[[str, Bounds], str]:
    """Return a function that reads one of these labels as its stored value."""
    values = {label: value for value, label in labels.items()}

    def read(text: str, bounds: Bounds) -> str:
        if text not in values:
            raise CellError(
                f"{quoted(text)} is not allowed. Use {' or '.join(values)}."
            )
        return values[text]

    return read


def read_minutes(text: str, bounds: Bounds) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        raise CellError(f"{quoted(text)} is not a whole number, such as 45.")
    if int(text) > MAX_MINUTES:
        raise CellError(f"{text} is more than {MAX_MINUTES:,}.")
    return int(text)


def read_price(text: str, bounds: Bounds) -> Decimal:
    return _amount(text, bounds, places=bounds.places)


def read_cost(text: str, bounds: Bounds) -> Decimal:
    return _amount(text, bounds, places=piece_places(bounds.places))


def _amount(text: str, bounds: Bounds, *, places: int) -> Decimal:
    if text.startswith("-") and AMOUNT.fullmatch(text[1:]):
        raise CellError(f"{quoted(text)} must not be negative.")
    if not AMOUNT.fullmatch(text):
        raise CellError(
            f"{quoted(text)} is not a valid amount. Use digits and a point, such as"
            " 1234.50."
        )
    amount = Decimal(text)
    if amount > bounds.max_amount:
        raise CellError(f"{quoted(text)} is more than {bounds.max_amount:,}.")
    if amount != round(amount, places):
        raise CellError(f"{quoted(text)} has more than {places} decimal places.")
    return amount


def read_parts(text: str, bounds: Bounds) -> tuple[ImportedPart, ...]:
    parts: list[ImportedPart] = []
    errors: list[str] = []
    for piece in filter(None, map(str.strip, text.split(";"))):
        try:
            parts.append(_part(piece, bounds))
        except CellError as error:
            errors += error.args
    if errors:
        raise CellError(*errors)
    return tuple(parts)


def read_names(text: str, bounds: Bounds) -> tuple[str, ...]:
    """Read names separated by semicolons, each once."""
    names: dict[str, str] = {}
    for name in filter(None, map(_single_spaced, text.split(";"))):
        if len(name) > MAX_NAME:
            raise CellError(f"{quoted(name)} is longer than {MAX_NAME} characters.")
        names.setdefault(name.casefold(), name)
    return tuple(names.values())


def read_results(text: str, bounds: Bounds) -> tuple[CheckAndResult, ...]:
    """Read the results of checks, of each check one."""
    found: dict[str, CheckAndResult] = {}
    for piece in filter(None, map(_single_spaced, text.split(";"))):
        check, equals, result = (part.strip() for part in piece.partition("="))
        if not (check and equals and result):
            raise CellError(
                f"{quoted(piece)} is not a result of a check. Use CHECK=result,"
                " separated by ;."
            )
        if max(len(check), len(result)) > MAX_NAME:
            raise CellError(f"{quoted(piece)} is longer than {MAX_NAME} characters.")
        pair = CheckAndResult(check, result)
        if found.setdefault(check.casefold(), pair) != pair:
            raise CellError(f"{quoted(check)} has two results.")
    return tuple(found.values())


def _single_spaced(text: str) -> str:
    return " ".join(text.split())


def _part(text: str, bounds: Bounds) -> ImportedPart:
    found = PART.fullmatch(text)
    number = found["number"].strip() if found else ""
    if not found or not number:
        raise CellError(f"{quoted(text)} is not a valid part. {PART_FORMAT}")
    quantity = int(found["quantity"])
    if not 1 <= quantity <= MAX_QUANTITY:
        raise CellError(
            f"{quoted(text)}: the quantity must be between 1 and {MAX_QUANTITY:,}."
        )
    cost = None if found["cost"] is None else read_cost(found["cost"].strip(), bounds)
    return ImportedPart(number, quantity, cost, (found["lot"] or "").strip())


def is_control(character: str) -> bool:
    """Return whether it is a control character or half a character, so not text."""
    return unicodedata.category(character) in ("Cc", "Cs")


def quoted(text: str) -> str:
    """Return `text` in quotation marks and shortened, for a message."""
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"
