"""A list as a CSV file that a spreadsheet does not run as formulas."""

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

RUNS = ("=", "+", "-", "@", "\t", "\r")
"""What a sheet takes for the beginning of a formula."""


def as_csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A file for a sheet. Words that it would run as a formula get a ' in front.

    Amounts stay numbers, the negative ones too.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(heads)
    for row in rows:
        writer.writerow([_escape_formula(cell) for cell in row])
    return out.getvalue()


def _escape_formula(cell: object) -> str:
    if cell is None:
        return ""
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    text = " ".join(str(cell).split("\n"))
    return f"'{text}" if text.lstrip().startswith(RUNS) or text[:1] in RUNS else text
