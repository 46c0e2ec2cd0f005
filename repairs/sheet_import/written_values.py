"""Dates, amounts, durations and words as people write them.

What has several meanings is refused with the reason; nothing is guessed.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation

from repairs.history.cells import EARLIEST, MAX_MINUTES, quoted
from repairs.jobs import states
from repairs.sheet_import.sheet_file import Cell

DAY_FIRST, MONTH_FIRST = "day", "month"
ORDERS = {DAY_FIRST: "day before month", MONTH_FIRST: "month before day"}
COMMA, POINT = "comma", "point"
DECIMALS = {COMMA: "comma, as in 45,00", POINT: "point, as in 45.00"}
MINUTES, HOURS = "minutes", "hours"
UNITS = {MINUTES: "minutes", HOURS: "hours"}


class UnclearValueError(Exception):
    """A cell has no clear meaning; the text says why."""


def plain(text: object) -> str:
    """Return a text for comparison: small letters and digits, without accents."""
    folded = unicodedata.normalize("NFKD", str(text).casefold().replace("ß", "ss"))
    kept = (c if c.isalnum() else " " for c in folded if not unicodedata.combining(c))
    return " ".join("".join(kept).split())


def shown(cell: Cell) -> str:
    """Return a cell as text."""
    if isinstance(cell, timedelta):
        minutes = round(cell.total_seconds() / 60)
        return f"{minutes // 60}:{minutes % 60:02}"
    if isinstance(cell, float):
        return f"{Decimal(repr(cell)):f}"
    return str(cell)


# --- dates ----------------------------------------------------------------------------

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january januar jan janner",
            "february februar feb",
            "march marz maerz mar mrz",
            "april apr",
            "may mai",
            "june juni jun",
            "july juli jul",
            "august aug",
            "september sept sep",
            "october oktober oct okt",
            "november nov",
            "december dezember dec dez",
        ),
        start=1,
    )
    for name in names.split()
}
WEEKDAYS = frozenset(
    "mon monday tue tues tuesday wed wednesday thu thur thurs thursday fri friday sat"
    " saturday sun sunday mo di mi do fr sa so montag dienstag mittwoch donnerstag"
    " freitag samstag sonnabend sonntag".split()
)
TIME_OF_DAY = re.compile(
    r"[ t]+\d{1,2}[:.]\d{2}(?:[:.]\d{2}(?:\.\d+)?)?\s*(?:am|pm|uhr|h|z)?$", re.I
)
NUMBERS = re.compile(r"(\d{1,4})([./-])\s?(\d{1,2})\2\s?(\d{1,4})")
WITHOUT_YEAR = re.compile(r"\d{1,2}\s?[./-]\s?\d{1,2}\s?[./-]?")
WORDS = re.compile(r"[0-9]+|[^\W\d_]+")
FIRST_SERIAL = date(1899, 12, 30)
SERIALS = (32_874, 73_050)
"""Days in a spreadsheet program, from 1990 to 2099."""


@dataclass(frozen=True)
class DateNotation:
    """How the dates of a file are written; `order` is empty if nobody said."""

    order: str
    latest: date

    def read(self, cell: Cell) -> date:
        """Return the day of a cell.

        Raises: UnclearValueError.
        """
        if isinstance(cell, date):
            return self._possible(cell, cell)
        if isinstance(cell, timedelta):
            raise UnclearValueError(f"{quoted(shown(cell))} is not a date.")
        text = str(cell).strip()
        return self._possible(self._day(text), cell)

    def _day(self, text: str) -> date:
        if re.fullmatch(r"\d{5}(?:\.\d+)?", text) and is_serial(text):
            return FIRST_SERIAL + timedelta(days=int(float(text)))
        bare = TIME_OF_DAY.sub("", text).strip(" ,")
        head, _, rest = bare.partition(" ")
        if plain(head) in WEEKDAYS:
            bare = rest.strip(" ,.")
        if re.fullmatch(r"(?:19|20)\d{6}", bare):
            return _made(bare[:4], bare[4:6], bare[6:], text)
        if found := NUMBERS.fullmatch(bare):
            first, mark, second, third = found.groups()
            if len(first) == 4:
                return _made(first, second, third, text)
            if len(third) in (2, 4):
                return self._ordered(first, mark, second, third, text)
        if WITHOUT_YEAR.fullmatch(bare):
            raise UnclearValueError(f"{quoted(text)} has no year.")
        return self._with_month_name(bare, text)

    def _ordered(
        self, first: str, mark: str, second: str, year: str, text: str
    ) -> date:
        order = self.order
        # Only days before months are written with points.
        if mark == "." or int(first) > 12:
            order = DAY_FIRST if int(second) <= 12 else MONTH_FIRST
        elif int(second) > 12:
            order = MONTH_FIRST
        elif first == second:
            order = order or DAY_FIRST
        if not order:
            raise UnclearValueError(
                f"{quoted(text)}: choose whether the day or the month comes first."
            )
        if self.order and order != self.order and mark != ".":
            raise UnclearValueError(
                f"{quoted(text)} does not have the {ORDERS[self.order]}, as other dates"
                " of this file have."
            )
        day, month = (first, second) if order == DAY_FIRST else (second, first)
        return _made(self._full_year(year), month, day, text)

    def _full_year(self, year: str) -> str:
        if len(year) == 4:
            return year
        century = 2000 if 2000 + int(year) <= self.latest.year else 1900
        return str(century + int(year))

    def _with_month_name(self, bare: str, text: str) -> date:
        words = [word for word in WORDS.findall(plain(bare)) if word not in ORDINALS]
        months = [MONTHS[word] for word in words if word in MONTHS]
        numbers = [word for word in words if word.isdigit()]
        if len(months) != 1 or len(words) != len(numbers) + 1:
            raise UnclearValueError(f"{quoted(text)} is not a date.")
        if len(numbers) == 1:
            raise UnclearValueError(
                f"{quoted(text)} has no {'day' if len(numbers[0]) == 4 else 'year'}."
            )
        if len(numbers) != 2:
            raise UnclearValueError(f"{quoted(text)} is not a date.")
        if len(numbers[0]) == 4:
            numbers.reverse()
        return _made(self._full_year(numbers[1]), str(months[0]), numbers[0], text)

    def _possible(self, day: date, cell: Cell) -> date:
        if not EARLIEST <= day <= self.latest:
            raise UnclearValueError(
                f"{quoted(shown(cell))} is outside {EARLIEST} to {self.latest}."
            )
        return day


ORDINALS = frozenset("st nd rd th of der den the".split())


def _made(year: str, month: str, day: str, text: str) -> date:
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        raise UnclearValueError(f"{quoted(text)} is not a date.") from None


def is_serial(cell: Cell) -> bool:
    """Whether it may be a day as spreadsheet programs count them."""
    try:
        return SERIALS[0] <= float(str(cell)) <= SERIALS[1]
    except ValueError:
        return False


def detect_order(cells: Iterable[Cell]) -> tuple[str, list[str]]:
    """Return the order of day and month, and examples of dates that need it.

    The order is empty if no date shows it, or if dates contradict each other.
    """
    seen: set[str] = set()
    unclear: list[str] = []
    for cell in dict.fromkeys(cells):
        if not isinstance(cell, str):
            continue
        found = NUMBERS.match(cell.strip())
        if not found or len(found[1]) == 4 or found[2] == ".":
            continue
        first, second = int(found[1]), int(found[3])
        if first <= 12 < second:
            seen.add(MONTH_FIRST)
        elif second <= 12 < first:
            seen.add(DAY_FIRST)
        elif first != second:
            unclear.append(cell)
    return (seen.pop() if len(seen) == 1 else ""), unclear


# --- amounts --------------------------------------------------------------------------

CURRENCY = re.compile(
    r"(?:eur(?:os?)?|gbp|usd|chf|sek|nok|dkk|pln|czk|fr|kr|zł|kč|[€£$¥])\.?", re.I
)
FREE = frozenset(
    (
        *"free gratis kostenlos umsonst warranty garantie gewahrleistung".split(),
        *"kulanz nil none nothing foc goodwill".split(),
        *("no charge", "n c", "no cost"),
    )
)
NOT_GIVEN = frozenset(("", "n a", "na", "k a", "tbc", "tba"))
AMOUNT = re.compile(r"\d+(?:[.,]\d+)*")


@dataclass(frozen=True)
class AmountNotation:
    """How the amounts of a file are written; `decimal` is empty if nobody said."""

    decimal: str
    places: int
    max_amount: Decimal

    def read(self, cell: Cell) -> Decimal | None:
        """Return the amount of a cell; None if it says that there is none.

        Raises: UnclearValueError.
        """
        if isinstance(cell, date | timedelta):
            raise UnclearValueError(f"{quoted(shown(cell))} is not an amount.")
        if isinstance(cell, str):
            return self._read_text(cell)
        # A workbook keeps 19.99 as the nearest fraction.
        return self._possible(Decimal(repr(cell)), shown(cell))

    def _read_text(self, text: str) -> Decimal | None:
        if plain(text) in NOT_GIVEN:
            return None
        if plain(text) in FREE:
            return Decimal(0)
        bare = CURRENCY.sub("", text).replace("\N{MINUS SIGN}", "-").strip()
        bare = re.sub(r"[.,]\s?(?:-{1,2}|–|—)$", "", bare)  # 340,-
        bare = re.sub(r"(?<=\d)[ '’\u00a0\u202f](?=\d{3}(?!\d))", "", bare)  # 1 234
        if bare.startswith("-") and AMOUNT.fullmatch(bare[1:]):
            raise UnclearValueError(f"{quoted(text)} is negative.")
        if not AMOUNT.fullmatch(bare):
            raise UnclearValueError(f"{quoted(text)} is not one amount.")
        return self._possible(self._number(bare, text), text)

    def _number(self, bare: str, text: str) -> Decimal:
        marks = re.findall(r"[.,]", bare)
        if not marks:
            return Decimal(bare)
        last = marks[-1]
        groups = re.split(r"[.,]", bare)
        is_grouped = all(len(group) == 3 for group in groups[1:])
        if len(set(marks)) == 2:
            if marks.count(last) > 1 or not all(len(g) == 3 for g in groups[1:-1]):
                raise UnclearValueError(f"{quoted(text)} is not one amount.")
            decimal = last
        elif len(marks) > 1:
            if not is_grouped:
                raise UnclearValueError(f"{quoted(text)} is not one amount.")
            decimal = ""
        elif is_grouped and groups[0].lstrip("0") and len(groups[0]) <= 3:
            if not self.decimal:
                raise UnclearValueError(
                    f"{quoted(text)}: choose whether comma or point is the decimal"
                    " sign."
                )
            decimal = {COMMA: ",", POINT: "."}[self.decimal]
        else:
            decimal = last
        whole, _, fraction = bare.rpartition(decimal) if decimal else (bare, "", "")
        if decimal and decimal not in bare:
            whole, fraction = bare, ""
        digits = re.sub(r"[.,]", "", whole)
        return Decimal(f"{digits}.{fraction or 0}")

    def _possible(self, amount: Decimal, text: str) -> Decimal:
        try:
            amount_rounded = round(amount, self.places)
        except InvalidOperation:
            raise UnclearValueError(f"{quoted(text)} is not an amount.") from None
        if amount < 0:
            raise UnclearValueError(f"{quoted(text)} is negative.")
        if amount > self.max_amount:
            raise UnclearValueError(f"{quoted(text)} is more than {self.max_amount:,}.")
        if abs(amount - amount_rounded) > Decimal("0.000001"):
            raise UnclearValueError(
                f"{quoted(text)} has more than {self.places} decimal places."
            )
        return amount_rounded


def detect_decimal(cells: Iterable[Cell]) -> tuple[str, list[str]]:
    """Return the decimal sign of a file's amounts, and examples that need it."""
    seen: set[str] = set()
    unclear: list[str] = []
    for cell in dict.fromkeys(cells):
        if not isinstance(cell, str):
            continue
        bare = CURRENCY.sub("", cell).strip()
        if re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", bare):
            unclear.append(cell)
        elif found := re.search(r"([.,])(?:\d{1,2}|-{1,2}|–)$", bare):
            seen.add(COMMA if found[1] == "," else POINT)
    return (seen.pop() if len(seen) == 1 else ""), unclear


# --- durations and words --------------------------------------------------------------

HOUR_WORDS = r"(?:h|hr|hrs|hour|hours|std|stunde|stunden)"
MINUTE_WORDS = r"(?:m|min|mins|minute|minutes|minuten|')"
DURATION = re.compile(
    rf"(?:(?P<hours>\d+(?:[.,]\d+)?)\s*{HOUR_WORDS}\.?)?\s*"
    rf"(?:(?P<minutes>\d+)\s*{MINUTE_WORDS}?\.?)?",
    re.I,
)
FRACTIONS = str.maketrans({"½": ".5", "¼": ".25", "¾": ".75"})


def read_minutes(cell: Cell, *, unit: str) -> int | None:
    """Return minutes; `unit` is that of a number without a unit.

    Raises: UnclearValueError.
    """
    if isinstance(cell, timedelta):
        return _possible_minutes(cell.total_seconds() / 60, shown(cell))
    if isinstance(cell, date):
        raise UnclearValueError(f"{quoted(shown(cell))} is not a duration.")
    factor = 60 if unit == HOURS else 1
    if not isinstance(cell, str):
        return _possible_minutes(cell * factor, shown(cell))
    if plain(cell) in NOT_GIVEN:
        return None
    text = cell.strip().translate(FRACTIONS)
    if found := re.fullmatch(r"(\d{1,3}):([0-5]\d)(?::[0-5]\d)?\s*h?", text):
        return _possible_minutes(int(found[1]) * 60 + int(found[2]), cell)
    if re.fullmatch(r"\d*[.,]?\d+", text):
        return _possible_minutes(float(text.replace(",", ".")) * factor, cell)
    found = DURATION.fullmatch(text)
    if not found or not (found["hours"] or found["minutes"]):
        raise UnclearValueError(f"{quoted(cell)} is not a duration.")
    hours = float((found["hours"] or "0").replace(",", "."))
    return _possible_minutes(hours * 60 + int(found["minutes"] or 0), cell)


def _possible_minutes(minutes: float, text: str) -> int:
    if not 0 <= minutes <= MAX_MINUTES:
        raise UnclearValueError(f"{quoted(text)} is not between 0 and {MAX_MINUTES:,}.")
    return round(minutes)


YES = frozenset("yes y ja j x true 1 again wieder back oui si".split())
NO = frozenset("no n nein false 0 never nie".split())


def read_yes(cell: Cell) -> bool:
    """Return whether a cell says yes; what follows the word does not matter.

    Raises: UnclearValueError.
    """
    text = plain(shown(cell))
    word = text.partition(" ")[0]
    if not text or word in NO or text in NOT_GIVEN:
        return False
    if word in YES:
        return True
    raise UnclearValueError(f"{quoted(shown(cell))} is neither yes nor no.")


OUTCOME_WORDS = {
    states.FIXED: (
        "fixed repaired done ok okay finished complete completed working works success"
        " successful yes repariert behoben erledigt fertig ja lauft"
    ),
    states.NOT_FIXED: "not_fixed unfixed failed unsuccessful no nein nicht_repariert",
    states.NO_FAULT_FOUND: (
        "no_fault_found nff no_fault ntf no_trouble_found kein_fehler"
        " kein_fehler_gefunden cannot_reproduce not_reproducible"
    ),
    states.NOT_REPAIRABLE: (
        "not_repairable unrepairable irreparable beyond_repair ber scrap scrapped dead"
        " write_off total_loss irreparabel nicht_reparierbar schrott"
        " wirtschaftlicher_totalschaden"
    ),
    states.DECLINED_BY_CUSTOMER: (
        "declined refused customer_declined too_expensive not_wanted rejected cancelled"
        " abgelehnt zu_teuer storniert nicht_gewunscht"
    ),
}
OUTCOMES = {
    words.replace("_", " "): outcome
    for outcome, texts in OUTCOME_WORDS.items()
    for words in texts.split()
}


def outcome_of(text: object) -> str:
    """Return the outcome that a text names, or an empty text."""
    return OUTCOMES.get(plain(text), "")
