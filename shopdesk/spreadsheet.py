"""Tables as files for a spreadsheet program."""

import csv
import io
import math
from collections.abc import Iterable, Sequence
from decimal import Decimal

FORMULA_STARTS = ("=", "+", "-", "@")


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a CSV file: the names of the columns, then the rows.

    Numbers stay numbers, the negative ones too; None and NaN are empty.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def escape_formula(text: str) -> str:
    """Return a text on one line that no spreadsheet program runs as a formula."""
    line = " ".join(text.split())
    return f"'{line}" if line.startswith(FORMULA_STARTS) else line


def _cell(value: object) -> object:
    if isinstance(value, str):
        return escape_formula(value)
    if isinstance(value, Decimal):
        return f"{value:f}"
    return "" if isinstance(value, float) and math.isnan(value) else value
