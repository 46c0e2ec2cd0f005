"""Tables as files for spreadsheet programs: CSV and XLSX."""

import csv
import io
import itertools
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import IO, Any

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
MAX_ROWS = 2**20 - 1
"""Of a sheet, without the column names."""
Rows = Iterable[Sequence[object]]
FORMULA_STARTS = ("=", "+", "-", "@")


def csv_text(columns: Sequence[str], rows: Rows) -> str:
    """Return a CSV file as a text."""
    out = io.BytesIO()
    write_csv(out, columns, rows)
    return out.getvalue().decode()


def write_csv(file: IO[bytes], columns: Sequence[str], rows: Rows) -> None:
    """Write a CSV file: the column names, then the rows, one at a time.

    Numbers remain numbers, negative ones too; None and NaN are empty.
    """
    out = io.TextIOWrapper(file, encoding="utf-8", newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    out.detach()  # else it would close the file


def write_workbook(file: IO[bytes], columns: Sequence[str], rows: Rows) -> None:
    """Write an XLSX file of one table, one row at a time."""
    write_sheets(file, {"List": (columns, rows)})


def sheets(tables: Mapping[str, tuple[Sequence[str], Rows]]) -> bytes:
    """Return an XLSX file with a sheet for each table."""
    out = io.BytesIO()
    write_sheets(out, tables)
    return out.getvalue()


def write_sheets(
    file: IO[bytes], tables: Mapping[str, tuple[Sequence[str], Rows]]
) -> None:
    """Write an XLSX file with a sheet for each table: its columns in bold, its rows.

    Numbers and dates remain such, and no text becomes a formula. What one sheet cannot
    hold is on further ones.
    """
    book = Workbook(write_only=True)
    for title, (columns, rows) in tables.items():
        left = iter(rows)
        _add_sheet(book, title, columns, itertools.islice(left, MAX_ROWS))
        for number in itertools.count(2):
            more = list(itertools.islice(left, 1))
            if not more:
                break
            part = itertools.chain(more, itertools.islice(left, MAX_ROWS - 1))
            _add_sheet(book, f"{title} {number}", columns, part)
    book.save(file)


def _add_sheet(book: Any, title: str, columns: Sequence[str], rows: Rows) -> None:
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    heads = [_sheet_cell(sheet, name) for name in columns]
    for head in heads:
        head.font = Font(bold=True)
    sheet.append(heads)
    for row in rows:
        sheet.append([_sheet_cell(sheet, value) for value in row])


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


def mark_formula(text: str) -> str:
    """Return a text that no spreadsheet program runs; `unmark_formula` gives it back.

    In contrast to `escape_formula` nothing of it is lost.
    """
    is_run = text.lstrip("'").startswith(FORMULA_STARTS)
    return f"'{text}" if is_run else text


def unmark_formula(text: str) -> str:
    """Return the text without the mark that keeps it from being run."""
    is_marked = text.startswith("'") and text.lstrip("'").startswith(FORMULA_STARTS)
    return text[1:] if is_marked else text


def _cell(value: object) -> object:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, float) and math.isnan(value):
        return ""
    is_number = value is None or isinstance(value, int | float)
    return value if is_number else escape_formula(str(value))
