"""What must be decided about a shop's own list before its rows can be read."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from repairs.customers.names import normalize_text
from repairs.history.cells import Bounds, is_control
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.remarks import Question
from repairs.sheet_import.sheet_columns import FIELDS, REQUIRED, SheetColumns
from repairs.sheet_import.sheet_file import Cell
from repairs.sheet_import.written_values import (
    HOURS,
    MINUTES,
    AmountNotation,
    DateNotation,
    UnclearValueError,
    detect_decimal,
    detect_order,
    outcome_of,
    plain,
    read_minutes,
    shown,
)

MAX_TEXT = 2_000
MAX_EXAMPLES = 8
MAX_NOTATIONS = 12
"""Of one column; each is shown with the value that is read."""
DATES = ("booked_in", "handed_over")
AMOUNTS = ("charged", "parts_cost")
HOURS_HEADER = {"hours", "hour", "hrs", "std", "stunden", "stunde", "h"}


def questions(columns: SheetColumns, decisions: Decisions) -> list[Question]:
    """Return what must be decided before the rows can be read."""
    headers = decisions.headers
    found = [
        Question("columns", f"No column is the {FIELDS[name].label}. Choose one.")
        for name in REQUIRED
        if name not in headers
    ]
    for name in headers.values():
        if name not in columns.names:
            found.append(Question("columns", f"The list has no column “{name}”."))
    if found:
        return found
    cells = corrected(columns, decisions)
    order, unclear = detect_order(_all(cells, DATES))
    if unclear and not (decisions.date_order or order):
        text = "In dates, does the day or the month come first?"
        found.append(Question("date_order", text, unclear[:MAX_EXAMPLES]))
    decimal, unclear = detect_decimal(_all(cells, AMOUNTS))
    if unclear and not (decisions.decimal or decimal):
        text = "Is comma or point the decimal sign?"
        found.append(Question("decimal", text, unclear[:MAX_EXAMPLES]))
    return found + [*_missing_values(cells, decisions)]


def _missing_values(
    cells: Mapping[str, pd.Series], decisions: Decisions
) -> Iterable[Question]:
    dates, customers = cells.get("handed_over"), cells["customer"]
    empty = len(customers) if dates is None else int((dates == "").sum())
    if empty and not decisions.without_handover:
        text = f"{empty:,} rows have no day of handover. What about these jobs?"
        yield Question("without_handover", text)
    empty = int((customers == "").sum())
    if empty and not decisions.without_customer:
        yield Question(
            "without_customer", f"{empty:,} rows have no customer. What about these?"
        )
    outcomes = cells.get("outcome")
    empty = len(customers) if outcomes is None else int((outcomes == "").sum())
    has_codes = any(group.code for group in (*decisions.faults, *decisions.fixes))
    if empty and has_codes and not decisions.without_outcome:
        yield Question(
            "without_outcome", f"{empty:,} rows have no outcome. What about these?"
        )
    if outcomes is not None:
        decided = {plain(word): outcome for word, outcome in decisions.outcomes.items()}
        words = [
            shown(cell)
            for cell in outcomes.unique()
            if cell != "" and not (decided.get(plain(shown(cell))) or outcome_of(cell))
        ]
        if words:
            text = f"What does each of these {len(words):,} outcomes mean?"
            yield Question("outcomes", text, words[:MAX_EXAMPLES])


def outcome_words(columns: SheetColumns, decisions: Decisions) -> dict[str, str]:
    """Return each word of the outcome column, with what it means if that is known."""
    cells = corrected(columns, decisions).get("outcome")
    if cells is None:
        return {}
    decided = {plain(word): outcome for word, outcome in decisions.outcomes.items()}
    words = [shown(cell) for cell in cells.value_counts().index if cell != ""]
    return {word: decided.get(plain(word)) or outcome_of(word) for word in words}


def texts_of(columns: SheetColumns, decisions: Decisions, name: str) -> list[str]:
    """Return the texts of a column of free text, one for each row that has one."""
    cells = corrected(columns, decisions).get(name)
    if cells is None:
        return []
    return [clean(cell, lines=False)[:MAX_TEXT] for cell in cells if cell != ""]


def notation_of(
    columns: SheetColumns, decisions: Decisions, bounds: Bounds
) -> tuple[DateNotation, AmountNotation, str]:
    """Return how dates, amounts and durations are written: as decided or detected."""
    cells = corrected(columns, decisions)
    order = decisions.date_order or detect_order(_all(cells, DATES))[0]
    decimal = decisions.decimal or detect_decimal(_all(cells, AMOUNTS))[0]
    header = plain(decisions.headers.get("minutes", ""))
    unit = HOURS if HOURS_HEADER & set(header.split()) else MINUTES
    return (
        DateNotation(order, bounds.latest),
        AmountNotation(decimal, bounds.places, bounds.max_amount),
        decisions.minutes_unit or unit,
    )


@dataclass(frozen=True)
class ReadExample:
    """How a cell is read: as written, and its value or what is wrong with it."""

    field: str
    written: str
    value: object = None
    problem: str = ""


def read_examples(
    columns: SheetColumns, decisions: Decisions, bounds: Bounds
) -> list[ReadExample]:
    """Return one cell of each notation of dates, amounts and durations."""
    cells = corrected(columns, decisions)
    days, amounts, unit = notation_of(columns, decisions, bounds)
    readers: dict[str, Callable[[Cell], object]] = {
        **dict.fromkeys(DATES, days.read),
        **dict.fromkeys(AMOUNTS, amounts.read),
        "minutes": lambda cell: read_minutes(cell, unit=unit),
    }
    found = []
    for name, read in readers.items():
        shapes: dict[str, Cell] = {}
        for cell in cells[name].unique() if name in cells else ():
            if cell != "":
                shape = re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", shown(cell)))
                shapes.setdefault(f"{type(cell)} {shape}", cell)
        for cell in list(shapes.values())[:MAX_NOTATIONS]:
            try:
                found.append(ReadExample(name, shown(cell), read(cell)))
            except UnclearValueError as error:
                found.append(ReadExample(name, shown(cell), problem=str(error)))
    return found


def _all(cells: Mapping[str, pd.Series], names: Iterable[str]) -> list[Cell]:
    return [cell for name in names if name in cells for cell in cells[name].unique()]


def corrected(columns: SheetColumns, decisions: Decisions) -> dict[str, pd.Series]:
    """Return the column of each field, with what was typed in its place."""
    found = {
        name: columns.frame[header].copy()
        for name, header in decisions.headers.items()
        if header in columns.names
    }
    for line, values in decisions.corrections.items():
        for name, value in values.items():
            if name not in found:
                found[name] = pd.Series("", index=columns.frame.index, dtype=object)
            if int(line) in found[name].index:
                found[name].loc[int(line)] = value.strip()
    return found


def clean(cell: Cell, *, lines: bool = True) -> str:
    """Return the text of a cell, without control characters."""
    text = normalize_text(shown(cell), keep_lines=lines)
    return "".join(c for c in text if c == "\n" or not is_control(c))
