"""A row of the history file as it is meant: days, amounts and words instead of text."""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import phonenumbers

from repairs.history.columns import DECLARED, LONGEST, OUTCOMES, REQUIRED, RETURN_IS
from repairs.history.wrongs import Wrongs
from repairs.jobs import states

EARLIEST = date(1990, 1, 1)
MOST_MINUTES = 10_000
MOST_PARTS = 10_000
CENT = Decimal("0.01")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
WHOLE = re.compile(r"[0-9]{1,9}", re.ASCII)
AMOUNT = re.compile(r"[0-9]{1,13}(?:\.[0-9]{1,4})?", re.ASCII)
EMAIL = re.compile(r"[^@\s,;<>()\"]+@[^@\s,;<>()\"]+\.[^@\s.,;<>()\"]+")
CODE = re.compile(r"[A-Z0-9]+(?:-[A-Z0-9]+)*", re.ASCII)
PART = re.compile(
    r"(?P<number>[^*@#;]{1,40})\*(?P<quantity>[0-9]{1,9})"
    r"(?:@(?P<cost>[^*@#;]*))?(?:#(?P<lot>[^;]{1,40}))?",
    re.ASCII,
)
NO_PART = (
    "Write each part as NUMBER*QTY@UNITCOST#DELIVERY, separated by ; (cost and delivery"
    " may be left out)."
)


@dataclass(frozen=True, slots=True)
class PartTold:
    """A part that went into a repair; the cost of one and the delivery where known."""

    number: str
    quantity: int
    cost: Decimal | None = None
    lot: str = ""

    def __str__(self) -> str:
        cost = "" if self.cost is None else f"@{self.cost:f}"
        return f"{self.number}*{self.quantity}{cost}" + (self.lot and f"#{self.lot}")


@dataclass(frozen=True, slots=True)
class Row:
    """One repair of one job, or a job on which nothing was found.

    Empty text and None are what the file does not say. `declared`, `outcome` and
    `return_is` are the words the records keep; `phone` is E.164.
    """

    line: int
    job: str
    booked_in: date
    customer: str
    kind: str
    model: str
    handed_back: date | None = None
    email: str = ""
    phone: str = ""
    maker: str = ""
    serial: str = ""
    complaint: str = ""
    fault: str = ""
    fault_name: str = ""
    fix: str = ""
    fix_name: str = ""
    declared: str = ""
    outcome: str = ""
    minutes: int | None = None
    charged: Decimal | None = None
    parts_cost: Decimal | None = None
    parts: tuple[PartTold, ...] = ()
    returned_from: str = ""
    return_is: str = ""

    @property
    def parts_cost_beyond(self) -> Decimal:
        """The cost of parts that is not told part by part."""
        if self.parts_cost is None:
            return Decimal(0)
        return self.parts_cost - told_cost(self.parts)


@dataclass(frozen=True)
class Bounds:
    """What depends on the shop and the day.

    `latest` is the last day a row may name, `places` the currency's decimals, `country`
    the one whose telephone numbers need no prefix.
    """

    latest: date
    places: int
    country: str

    @property
    def most(self) -> Decimal:
        """No repair costs more; currencies without cents have long amounts."""
        return Decimal(1_000_000 if self.places else 1_000_000_000)


def told_cost(parts: tuple[PartTold, ...]) -> Decimal:
    return sum(
        (part.cost * part.quantity for part in parts if part.cost is not None),
        Decimal(0),
    )


def read_row(
    line: int, cells: Mapping[str, str], *, bounds: Bounds, wrongs: Wrongs
) -> Row | None:
    """The row that `cells` mean; None where something is wrong, told in `wrongs`."""
    before = wrongs.count
    read = _Reader(cells, line=line, bounds=bounds, wrongs=wrongs)
    row = Row(
        line=line,
        job=read.text("job"),
        booked_in=read.day("booked_in") or EARLIEST,
        handed_back=read.day("handed_back"),
        customer=read.text("customer"),
        email=read.email("email"),
        phone=read.phone("phone"),
        kind=read.text("kind"),
        maker=read.text("maker"),
        model=read.text("model"),
        serial=read.text("serial"),
        complaint=read.text("complaint", may_have_lines=True),
        fault=read.code("fault"),
        fault_name=read.text("fault_name"),
        fix=read.code("fix"),
        fix_name=read.text("fix_name"),
        declared=read.word("declared", DECLARED),
        outcome=read.word("outcome", OUTCOMES),
        minutes=read.whole("minutes", most=MOST_MINUTES),
        charged=read.money("charged"),
        parts_cost=read.money("parts_cost", places=4),
        parts=read.parts("parts"),
        returned_from=read.text("returned_from"),
        return_is=read.word("return_is", RETURN_IS),
    )
    if wrongs.count == before:
        for column, says in at_odds(row):
            wrongs.add(line, column, says)
    return row if wrongs.count == before else None


class _Reader:
    """Reads cells of one row; what can't be read is told in `wrongs` and left empty."""

    def __init__(
        self, cells: Mapping[str, str], *, line: int, bounds: Bounds, wrongs: Wrongs
    ) -> None:
        self.cells = cells
        self.line = line
        self.bounds = bounds
        self.wrongs = wrongs

    def _wrong(self, column: str, says: str) -> None:
        self.wrongs.add(self.line, column, says)

    def text(self, column: str, *, may_have_lines: bool = False) -> str:
        text = self.cells.get(column, "").strip()
        if not text:
            if column in REQUIRED:
                self._wrong(column, "This must not be empty.")
            return ""
        longest = LONGEST.get(column, len(text))
        if len(text) > longest:
            self._wrong(column, f"This is longer than {longest} characters.")
            return ""
        if not text.isprintable():
            allowed = "\r\n\t" if may_have_lines else ""
            strange = [c for c in text if c not in allowed and is_control(c)]
            if strange:
                self._wrong(
                    column, f"There is a control character (U+{ord(strange[0]):04X})."
                )
                return ""
        return text

    def day(self, column: str) -> date | None:
        text = self.text(column)
        if not text:
            return None
        try:
            day = date.fromisoformat(text) if DAY.fullmatch(text) else None
        except ValueError:
            day = None
        if day is None:
            self._wrong(column, f"{shown(text)} is no day: write it as 2024-12-31.")
        elif not EARLIEST <= day <= self.bounds.latest:
            self._wrong(
                column,
                f"{day} is out of reach: days lie between {EARLIEST} and"
                f" {self.bounds.latest}.",
            )
        else:
            return day
        return None

    def email(self, column: str) -> str:
        text = self.text(column)
        if text and not EMAIL.fullmatch(text):
            self._wrong(column, f"{shown(text)} is no email address.")
        return text

    def phone(self, column: str) -> str:
        text = self.text(column)
        if not text:
            return ""
        try:
            number = phonenumbers.parse(text, self.bounds.country)
        except phonenumbers.NumberParseException:
            number = None
        if number is None or not phonenumbers.is_possible_number(number):
            self._wrong(column, f"{shown(text)} is no telephone number.")
            return ""
        if number.extension:
            self._wrong(column, "Telephone numbers are kept without an extension.")
            return ""
        return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)

    def code(self, column: str) -> str:
        text = self.text(column).upper()
        if text and not CODE.fullmatch(text):
            self._wrong(
                column,
                f"{shown(text)} is no code: capitals and digits in groups joined by"
                " dashes, such as PWR-JACK-OPEN.",
            )
        return text

    def word(self, column: str, words: Mapping[str, str]) -> str:
        text = self.text(column)
        if text and text not in words:
            self._wrong(
                column, f"{shown(text)} is not known: write {' or '.join(words)}."
            )
        return words.get(text, "")

    def whole(self, column: str, *, most: int) -> int | None:
        text = self.text(column)
        if not text:
            return None
        if not WHOLE.fullmatch(text):
            self._wrong(column, f"{shown(text)} is no whole number, such as 45.")
        elif int(text) > most:
            self._wrong(column, f"{text} is more than {most:,}.")
        else:
            return int(text)
        return None

    def money(self, column: str, *, places: int | None = None) -> Decimal | None:
        text = self.text(column)
        return self._amount(column, text, places=places) if text else None

    def _amount(self, column: str, text: str, *, places: int | None) -> Decimal | None:
        places = self.bounds.places if places is None else places
        if text.startswith("-") and AMOUNT.fullmatch(text[1:]):
            self._wrong(column, f"{shown(text)} is below nothing.")
        elif not AMOUNT.fullmatch(text):
            self._wrong(
                column,
                f"{shown(text)} is no amount: plain digits and a point, such as"
                " 1234.50.",
            )
        elif (amount := Decimal(text)) > self.bounds.most:
            self._wrong(column, f"{shown(text)} is more than {self.bounds.most:,}.")
        elif amount != round(amount, places):
            self._wrong(column, f"{shown(text)} has more than {places} decimals.")
        else:
            return amount
        return None

    def parts(self, column: str) -> tuple[PartTold, ...]:
        text = self.text(column)
        told = []
        for piece in text.split(";") if text else []:
            if not piece.strip():
                continue
            found = PART.fullmatch(piece.strip())
            if not found:
                self._wrong(column, f"{shown(piece.strip())} can't be read. {NO_PART}")
                continue
            quantity = int(found["quantity"])
            if not 1 <= quantity <= MOST_PARTS:
                self._wrong(
                    column,
                    f"{shown(piece.strip())}: the quantity lies between 1 and"
                    f" {MOST_PARTS:,}.",
                )
            cost = (
                None
                if found["cost"] is None
                else self._amount(column, found["cost"].strip(), places=4)
            )
            lot = (found["lot"] or "").strip()
            told.append(PartTold(found["number"].strip(), quantity, cost, lot))
        if any(not part.number for part in told):
            self._wrong(column, f"A part has no number. {NO_PART}")
        return tuple(told)


def at_odds(row: Row) -> Iterator[tuple[str, str]]:
    """What does not fit together within one row, each with the column to look at."""
    if row.handed_back and row.handed_back < row.booked_in:
        yield (
            "handed_back",
            f"Handed back on {row.handed_back}, before it was booked in on"
            f" {row.booked_in}.",
        )
    if not row.fault:
        for column in ("fault_name", "fix", "fix_name", "declared", "parts"):
            if getattr(row, column):
                yield column, "Name the fault that this belongs to."
        if row.parts_cost:
            yield "parts_cost", "Name the fault that this belongs to."
        if row.outcome == states.FIXED:
            yield "fault", "It was fixed: say which fault."
    if row.fix_name and not row.fix and row.fault:
        yield "fix", "The fix has a name and no code."
    if row.outcome == states.FIXED and row.fault:
        if not row.fix:
            yield "fix", "It was fixed: say by which fix."
        if not row.declared:
            yield "declared", "It was fixed: say whether lasting or stopgap."
    if row.handed_back and row.fix and not row.outcome:
        yield "outcome", "A fix was done and it was handed back: say what came of it."
    if row.parts_cost is not None and row.parts:
        whole = all(part.cost is not None for part in row.parts)
        apart = row.parts_cost_beyond
        # Parts of a fraction of a cent: their sum may have been rounded.
        if apart <= -CENT or (whole and apart >= CENT):
            yield (
                "parts_cost",
                f"The parts cost {told_cost(row.parts):f} one by one, yet here stands"
                f" {row.parts_cost:f}.",
            )
    if row.return_is and not row.returned_from:
        yield (
            "returned_from",
            "Say which job it came back from, or leave return_is empty.",
        )
    if row.returned_from == row.job:
        yield "returned_from", "A job can't be its own return."


def is_control(character: str) -> bool:
    """Whether it steers a terminal, or is half a character, instead of being text."""
    return unicodedata.category(character) in ("Cc", "Cs")


def shown(text: str) -> str:
    """`text` as it stands in a sentence: quoted, and not at length."""
    return f"“{text[:40]}…”" if len(text) > 40 else f"“{text}”"
