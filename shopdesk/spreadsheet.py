"""Tables as files for spreadsheet programs: CSV and XLSX."""

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
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


def workbook(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return an XLSX file with one sheet: the column names in bold, then the rows."""
    return sheets({"List": (columns, rows)})


def sheets(
    tables: Mapping[str, tuple[Sequence[str], Iterable[Sequence[object]]]],
) -> bytes:
    """Return an XLSX file with a sheet for each table: its columns and rows.

    Numbers and dates remain such, and no text becomes a formula.
    """
    book = Workbook(write_only=True)
    for title, (columns, rows) in tables.items():
        sheet = book.create_sheet(title)
        sheet.freeze_panes = "A2"
        heads = [_sheet_cell(sheet, name) for name in columns]
        for head in heads:
            head.font = Font(bold=True)
        sheet.append(heads)
        for row in rows:
            sheet.append([_sheet_cell(sheet, value) for value in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _sheet_cell(sheet: Any, value: object) -> Any:
    if value is None or isinstance(value, float) and math.isnan(value):
        return WriteOnlyCell(sheet)
    if isinstance(value, Decimal | int | float | date):
        cell = WriteOnlyCell(sheet, value)
        if isinstance(value, datetime):
            cell.number_format = "yyyy-mm-dd hh:mm"
        return cell
    # The library would take text that begins with "=" for a formula.
    cell = WriteOnlyCell(sheet, NOT_IN_XML.sub("", str(value)))
    cell.data_type = "s"
    return cell


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
