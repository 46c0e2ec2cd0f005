"""The comeback table in letters: for a screen of 100 columns, as CSV and as JSON."""

import csv
import io
import json
import math
import textwrap
from decimal import Decimal

from repairs.comebacks.pairs import COLUMNS
from repairs.comebacks.record import Record
from repairs.comebacks.rows import Row

COLUMNS_WIDE = 100
HEADS = (
    *("FAULT", "FIX", "DECLARED", "CAME BACK", "JUDGED"),
    *("RISK", "LIMITS", "VERDICT", "RESERVE"),
)
WORDS = {0, 1, 2, 7}  # columns of words stand left, figures right
NAMES = (0, 1)  # these give way where a line would be too long; figures never do
LEAST_NAME = 16
RUNS = ("=", "+", "-", "@")  # what a sheet takes for a formula
NOTHING = "No repair was handed back as fixed by that day."


def as_table(record: Record) -> str:
    """The rows in 100 columns, then what they gainsay, then what they can't know."""
    head = (
        f"Comebacks within {record.table.within} days, as known on {record.as_of}:"
        f" {record.returned} of {record.repairs} repairs."
        f" Our limit is {record.limit_said}."
    )
    if record.only:
        head = _wrapped("", f"{head} Counted are {record.only}.", hang="")
    rows = _laid_out(record) if record.rows else [NOTHING]
    flags = [
        _wrapped("! ", f"{row.called}: {row.flag}; {row.sentence}")
        for row in record.flagged
    ]
    notes = [_wrapped("- ", sentence) for sentence in record.notes]
    parts = ([head], rows, flags, notes)
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def as_csv(record: Record) -> str:
    """The columns of the table by their names, a row a pair; nothing for no number.

    A sheet must not take words for a formula and run it: such cells get a ' in front.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in record.rows:
        writer.writerow([_in_sheet(value) for value in _values(row)])
    return out.getvalue()


def as_json(record: Record) -> str:
    """A list of objects, a pair each; null for no number."""
    rows = [
        {
            name: None if _is_nan(value) else _number(value)
            for name, value in zip(COLUMNS, _values(row), strict=True)
        }
        for row in record.rows
    ]
    return json.dumps(rows, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


FORMATS = {"table": as_table, "csv": as_csv, "json": as_json}


def _values(row: Row) -> list[object]:
    return [getattr(row, name) for name in COLUMNS]


def _is_nan(value: object) -> bool:
    return isinstance(value, float) and math.isnan(value)


def _in_sheet(value: object) -> object:
    if isinstance(value, str):
        on_a_line = " ".join(value.split())
        return f"'{on_a_line}" if on_a_line.startswith(RUNS) else on_a_line
    return "" if _is_nan(value) else value


def _number(value: object) -> object:
    return float(value) if isinstance(value, Decimal) else value


def _laid_out(record: Record) -> list[str]:
    """The heads and the rows, as wide as their figures need."""
    lines = [list(HEADS), *(_cells(row) for row in record.rows)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    too_wide = sum(widths) + len(widths) - 1 - COLUMNS_WIDE
    for name in NAMES:
        over = min(too_wide, widths[name] - LEAST_NAME)
        if over > 0:
            widths[name] -= over
            too_wide -= over
    return [
        " ".join(
            _fitted(text, width, stands_left=number in WORDS)
            for number, (text, width) in enumerate(zip(line, widths, strict=True))
        )
        for line in lines
    ]


def _cells(row: Row) -> list[str]:
    return [
        *(row.fault, row.fix, row.declared, row.returned_said, str(row.judged)),
        *(row.risk_said, row.limits_said, row.verdict, str(row.reserve)),
    ]


def _fitted(text: str, width: int, *, stands_left: bool) -> str:
    if len(text) > width:
        text = text[: width - 1] + "…"
    return text.ljust(width) if stands_left else text.rjust(width)


def _wrapped(mark: str, sentence: str, *, hang: str = "  ") -> str:
    return textwrap.fill(
        sentence, COLUMNS_WIDE, initial_indent=mark, subsequent_indent=hang
    )
