"""Tables as CSV files for spreadsheet programs."""

import csv
import io
import math
from collections.abc import Iterable, Sequence
from decimal import Decimal

FORMULA_STARTS = ("=", "+", "-", "@")


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a CSV file: the column names, then the rows.

    Numbers remain numbers, negative ones too; None and NaN are empty.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def escape_formula(text: object) -> object:
    """Return a text on one line that no spreadsheet program runs as a formula.

    Values that are not text are returned unchanged.
    """
    if not isinstance(text, str):
        return text
    line = " ".join(text.split())
    return f"'{line}" if line.startswith(FORMULA_STARTS) else line


def _cell(value: object) -> object:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, float) and math.isnan(value):
        return ""
    is_number = value is None or isinstance(value, int | float)
    return value if is_number else escape_formula(str(value))
