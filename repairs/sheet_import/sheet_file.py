"""Read a shop's own list, CSV or workbook, into rows of cells; nothing is interpreted.

A text stays a text; numbers, dates and times of a workbook keep their kind. A file that
is far too large is refused before it is in memory.
"""

import codecs
import csv
import io
import json
import re
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Any, BinaryIO, TextIO

import openpyxl
from charset_normalizer import from_bytes
from openpyxl.utils import get_column_letter

from shopdesk.errors import RefusedError

Cell = str | int | float | date | timedelta
"""An empty cell is an empty text."""

MAX_ROWS = 300_000
MAX_COLUMNS = 500
MAX_CELLS = 6_000_000
MAX_LINE = 200_000
MAX_CELL = 20_000
MAX_UNPACKED = 300_000_000
"""Bytes of a workbook's parts: a small file may hold far more."""
SAMPLE = 1_000_000
MAX_NAMED = 5
"""Cells listed in one message."""
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
ENCODINGS = {
    "utf-8-sig": "UTF-8",
    "cp1252": "Western European (Windows-1252)",
    "latin-1": "Western European (Latin-1)",
    "utf-16": "UTF-16",
    "cp1250": "Central European (Windows-1250)",
    "mac_roman": "Mac Roman",
}
WORKBOOK, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
FORMULA = re.compile(rb"<f[ >/]")
UNKNOWN_TEXT = "\N{REPLACEMENT CHARACTER}"


class SheetError(RefusedError):
    """The file cannot be read; the text says why, and what to do."""


@dataclass(frozen=True)
class SheetRow:
    """`line` is the number that a spreadsheet program shows beside the row."""

    line: int
    cells: Sequence[Cell]


@dataclass
class SheetTable:
    """The rows of one sheet that are not empty, and how they were read."""

    rows: list[SheetRow]
    sheets: list[str] = field(default_factory=list)
    """The sheets of a workbook; none for a text file."""
    sheet: str = ""
    encoding: str = ""
    separator: str = ""
    warnings: list[str] = field(default_factory=list)


def read_table(
    file: BinaryIO, *, sheet: str = "", encoding: str = "", separator: str = ""
) -> SheetTable:
    """Return the rows of a CSV, TSV or XLSX file; what is not given is detected.

    Raises: SheetError if it cannot be read as a whole.
    """
    start = file.read(8)
    file.seek(0)
    if not start:
        raise SheetError("The file is empty.")
    if start.startswith(OLD_WORKBOOK):
        raise SheetError(
            "The workbook is protected by a password or has the old format .xls. Open"
            " it in your spreadsheet program and save it as .xlsx without a password."
        )
    if start.startswith(WORKBOOK):
        return _read_workbook(file, sheet=sheet)
    return _read_text(file, encoding=encoding, separator=separator)


# --- text files -----------------------------------------------------------------------


def _read_text(file: BinaryIO, *, encoding: str, separator: str) -> SheetTable:
    sample = file.read(SAMPLE)
    encoding = encoding or detect_encoding(sample)
    if encoding not in ENCODINGS:
        raise SheetError(f"The encoding {encoding} is not known.")
    file.seek(0)
    text = io.TextIOWrapper(file, encoding=encoding, errors="replace", newline="")
    try:
        head = _sample_lines(text)
        text.seek(0)
        separator = separator or detect_separator(head)
        rows = list(_text_rows(text, separator))
    except UnicodeError:
        raise SheetError(f"The file is not {ENCODINGS[encoding]}.") from None
    finally:
        text.detach()
    table = SheetTable(rows, encoding=encoding, separator=separator)
    broken = [row.line for row in rows if UNKNOWN_TEXT in "".join(map(str, row.cells))]
    if broken:
        table.warnings.append(
            f"Characters that are not {ENCODINGS[encoding]} are in"
            f" {_named('line', broken)}. Choose another encoding."
        )
    return _checked(table)


def detect_encoding(sample: bytes) -> str:
    """Return the most likely encoding of the first bytes of a file."""
    if sample.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    try:
        # The last character may be cut off.
        codecs.getincrementaldecoder("utf-8")().decode(sample)
    except UnicodeDecodeError:
        matches = from_bytes(
            sample[:50_000], cp_isolation=["cp1252", "cp1250", "mac_roman"]
        )
        chaos = {
            name: one.chaos for one in matches for name in one.could_be_from_charset
        }
        # Most lists have letters that are the same in several encodings.
        return min(
            ("cp1252", "cp1250", "mac_roman"),
            key=lambda encoding: chaos.get(encoding, 1.0),
        )
    if b"\x00" in sample:
        raise SheetError(
            "The file is not a spreadsheet: it has NUL bytes. Save it as CSV or .xlsx."
        )
    return "utf-8-sig"


def _sample_lines(text: TextIO) -> list[str]:
    lines = [_line(text, number) for number in range(1, 51)]
    return [line for line in lines if line.strip()]


def detect_separator(lines: Sequence[str]) -> str:
    """Return the separator that splits most lines into the same number of cells."""

    def score(mark: str) -> tuple[int, int]:
        counts = [len(row) for row in csv.reader(lines, delimiter=mark) if len(row) > 1]
        common = max(set(counts), key=counts.count, default=0)
        return counts.count(common), common

    csv.field_size_limit(MAX_LINE)
    return max(SEPARATORS, key=score)


def _line(text: TextIO, number: int) -> str:
    line = text.readline(MAX_LINE + 1)
    if len(line) > MAX_LINE:
        raise SheetError(
            f"Line {number} has more than {MAX_LINE:,} characters. This is not a list"
            " of jobs."
        )
    return line


def _text_rows(text: TextIO, separator: str) -> Iterator[SheetRow]:
    csv.field_size_limit(MAX_CELL)
    numbers = iter(range(1, 1 << 62))
    lines = iter(lambda: _line(text, next(numbers)), "")
    rows = csv.reader(lines, delimiter=separator)
    line = 1
    try:
        for cells in rows:
            if any(map(str.strip, cells)):
                yield SheetRow(line, [cell.strip() for cell in cells])
            line = rows.line_num + 1
    except csv.Error:
        raise SheetError(
            f"The row that begins in line {line} cannot be read: a cell has more than"
            f" {MAX_CELL:,} characters. Look for a quotation mark that is not closed."
        ) from None


# --- workbooks ------------------------------------------------------------------------


def _read_workbook(file: BinaryIO, *, sheet: str) -> SheetTable:
    parts = _checked_parts(file)
    try:
        book = openpyxl.load_workbook(
            file, read_only=True, data_only=True, keep_links=False
        )
    except Exception as error:
        raise SheetError(
            "The workbook is damaged. Open it in your spreadsheet program and save it"
            " again as .xlsx."
        ) from error
    names = [one.title for one in book.worksheets]
    if not names:
        raise SheetError("The workbook has no sheet with cells.")
    if sheet and sheet not in names:
        raise SheetError(
            f"The workbook has no sheet {sheet}. Its sheets are: {', '.join(names)}."
        )
    table = SheetTable([], sheets=names)
    try:
        # The first with something in it: many begin with a sheet of pictures or notes.
        for name in [sheet] if sheet else names:
            table.sheet = name
            table.rows = list(_sheet_rows(book[name]))
            if len(table.rows) > 1:
                break
        part = getattr(book[table.sheet], "_worksheet_path", "")
    except SheetError:
        raise
    except Exception as error:
        raise SheetError(
            f"Sheet {table.sheet} is damaged. Open the workbook in your spreadsheet"
            " program and save it again as .xlsx."
        ) from error
    finally:
        book.close()
    if not table.rows and _has_pictures(parts):
        raise SheetError(
            "The workbook has pictures but no cells with text. Type the list into a"
            " sheet, or export it from the program that made the pictures."
        )
    if _has_formulas(file, part):
        _warn_of_formulas(file, table)
    return _checked(table)


def _checked_parts(file: BinaryIO) -> list[str]:
    """Return the names of the parts; raise for what must not be opened."""
    try:
        with zipfile.ZipFile(file) as archive:
            infos = archive.infolist()
            names = [info.filename for info in infos]
            if "xl/workbook.xml" not in names:
                raise SheetError(
                    "The file is an archive, not a workbook. Save the list as .xlsx or"
                    " CSV."
                )
            if any(name.endswith("vbaProject.bin") for name in names):
                raise SheetError(
                    "The workbook has macros. Save it as .xlsx, without macros."
                )
            if sum(info.file_size for info in infos) > MAX_UNPACKED:
                raise SheetError(
                    "The workbook is larger than"
                    f" {MAX_UNPACKED // 1_000_000} MB when unpacked. Save the sheet as"
                    " CSV."
                )
            for name in names:
                if name.endswith((".xml", ".rels")):
                    with archive.open(name) as part:
                        if b"<!DOCTYPE" in part.read(4_096):
                            raise SheetError("The workbook is damaged or malicious.")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError):
        raise SheetError(
            "The workbook is damaged or protected. Save it again as .xlsx without a"
            " password."
        ) from None
    finally:
        file.seek(0)
    return names


def _has_pictures(parts: Iterable[str]) -> bool:
    return any(name.startswith(("xl/media/", "xl/drawings/")) for name in parts)


def _sheet_rows(sheet: Any) -> Iterator[SheetRow]:
    # A wrong size in the file would make each row a million cells wide.
    sheet.reset_dimensions()
    count = 0
    for line, values in enumerate(sheet.iter_rows(values_only=True), start=1):
        cells = [_cell(value) for value in values]
        while cells and cells[-1] == "":
            cells.pop()
        if cells:
            count += len(cells)
            _check_size(line, cells, count)
            yield SheetRow(line, cells)
        if line > MAX_ROWS * 2:
            raise SheetError(f"The sheet has more than {MAX_ROWS:,} rows.")


def _check_size(line: int, cells: Sequence[Cell], count: int) -> None:
    if len(cells) > MAX_COLUMNS:
        raise SheetError(
            f"Row {line} has more than {MAX_COLUMNS} columns. This is not a list of"
            " jobs."
        )
    if count > MAX_CELLS:
        raise SheetError(f"The sheet has more than {MAX_CELLS:,} cells.")


def _cell(value: Any) -> Cell:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, time):
        return timedelta(hours=value.hour, minutes=value.minute)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return int(value)
    if isinstance(value, int | float | date | timedelta):
        return value
    return str(value).strip()[:MAX_CELL]


def _has_formulas(file: BinaryIO, part: str) -> bool:
    file.seek(0)
    with zipfile.ZipFile(file) as archive, archive.open(part.lstrip("/")) as sheet:
        tail = b""
        while chunk := sheet.read(1 << 20):
            if FORMULA.search(tail + chunk):
                return True
            tail = chunk[-4:]
    return False


def _warn_of_formulas(file: BinaryIO, table: SheetTable) -> None:
    """Name the formulas whose result is not in the file."""
    file.seek(0)
    book = openpyxl.load_workbook(file, read_only=True, keep_links=False)
    sheet: Any = book[table.sheet]
    sheet.reset_dimensions()
    results = {row.line: row.cells for row in table.rows}
    missing = []
    for line, values in enumerate(sheet.iter_rows(values_only=True), start=1):
        cells = results.get(line, ())
        for column, value in enumerate(values):
            is_formula = isinstance(value, str) and value.startswith("=")
            if is_formula and (column >= len(cells) or cells[column] == ""):
                missing.append(f"{get_column_letter(column + 1)}{line}")
    book.close()
    if missing:
        table.warnings.append(
            f"A formula without a result is in {_named('cell', missing)}. It is read"
            " as empty. Open the workbook in your spreadsheet program and save it, so"
            " that results are stored."
        )


# --- both -----------------------------------------------------------------------------


def _checked(table: SheetTable) -> SheetTable:
    if not table.rows:
        where = f"Sheet {table.sheet}" if table.sheet else "The file"
        raise SheetError(f"{where} is empty.")
    if len(table.rows) > MAX_ROWS:
        raise SheetError(f"The file has more than {MAX_ROWS:,} rows.")
    count = 0
    for row in table.rows:
        count += len(row.cells)
        _check_size(row.line, row.cells, count)
    return table


def _named(what: str, names: Sequence[object]) -> str:
    shown = ", ".join(str(name) for name in islice(names, MAX_NAMED))
    more = f" and {len(names) - MAX_NAMED:,} more" if len(names) > MAX_NAMED else ""
    return f"{what}{'s' if len(names) > 1 else ''} {shown}{more}"


def to_json(table: SheetTable) -> str:
    """Return the table as text; dates and durations keep their kind."""
    rows = [[row.line, [_to_json(cell) for cell in row.cells]] for row in table.rows]
    facts = {
        "sheets": table.sheets,
        "sheet": table.sheet,
        "encoding": table.encoding,
        "separator": table.separator,
        "warnings": table.warnings,
    }
    return json.dumps({"rows": rows, **facts})


def from_json(text: str) -> SheetTable:
    """Return the table that `to_json` wrote."""
    facts = json.loads(text)
    rows = [
        SheetRow(line, [_from_json(cell) for cell in cells])
        for line, cells in facts.pop("rows")
    ]
    return SheetTable(rows, **facts)


def _to_json(cell: Cell) -> Any:
    if isinstance(cell, date):
        return {"day": cell.isoformat()}
    if isinstance(cell, timedelta):
        return {"seconds": cell.total_seconds()}
    return cell


def _from_json(cell: Any) -> Cell:
    if isinstance(cell, dict):
        if "day" in cell:
            return date.fromisoformat(cell["day"])
        return timedelta(seconds=cell["seconds"])
    found: Cell = cell
    return found
