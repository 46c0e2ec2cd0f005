"""Read a file into the cells of its rows, each with the line where it begins.

Memory holds one row at a time: a file with one endless line is refused, not loaded.
Cells are split by `csv`, since pandas does not give the line of an invalid row.
"""

import codecs
import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TextIO

from repairs.history.issues import ImportIssues, UnreadableFileError
from repairs.history.rows import COLUMNS, REQUIRED
from shopdesk.spreadsheet import unmark_formula

CHUNK = 1 << 20
MAX_LINE = 200_000
MAX_CELL = 20_000
MAX_NAMES = 8
"""Names of columns listed in one message."""
SAVE_AGAIN = "Save the file as CSV (UTF-8)."


def check_text(path: Path) -> None:
    """Raise UnreadableFileError, with the line, for text that is not UTF-8."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    lines = 1
    with path.open("rb") as file:
        start = file.read(4)
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise UnreadableFileError(f"The file is UTF-16. {SAVE_AGAIN}")
        if start == b"PK\x03\x04":
            raise UnreadableFileError(
                f"The file is a spreadsheet or archive. {SAVE_AGAIN}"
            )
        file.seek(0)
        while True:
            chunk = file.read(CHUNK)
            if b"\x00" in chunk:
                line = lines + chunk[: chunk.index(b"\x00")].count(b"\n")
                raise UnreadableFileError(f"Line {line} has a NUL byte. {SAVE_AGAIN}")
            try:
                decoder.decode(chunk, final=not chunk)
            except UnicodeDecodeError as error:
                # The undecoded bytes may begin in the chunk before, within a line.
                line = lines + error.object[: error.start].count(b"\n")
                raise UnreadableFileError(
                    f"Byte 0x{error.object[error.start]:02X} in line {line} is not"
                    f" UTF-8 text. {SAVE_AGAIN}"
                ) from None
            if not chunk:
                return
            lines += chunk.count(b"\n")


def read_rows(
    path: Path, *, issues: ImportIssues
) -> Iterator[tuple[int, dict[str, str]]]:
    """Yield the cells of each row by column, with the line where the row begins.

    A row of the wrong length is added to `issues` and left out. Empty rows are skipped.

    Raises: UnreadableFileError if nothing can be read from there on.
    """
    check_text(path)
    csv.field_size_limit(MAX_CELL)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(_lines(file), strict=True)
        header = _header(_next(rows, line=1) or [])
        line = rows.line_num + 1
        while (cells := _next(rows, line=line)) is not None:
            if any(map(str.strip, cells)):
                if len(cells) == len(header):
                    texts = map(unmark_formula, cells)
                    yield line, dict(zip(header, texts, strict=True))
                else:
                    issues.add(
                        line,
                        "",
                        f"Row has {len(cells):,} cells, header has {len(header)}. Quote"
                        " cells that contain a comma.",
                    )
            line = rows.line_num + 1


def _lines(file: TextIO) -> Iterator[str]:
    number = 0
    while text := file.readline(MAX_LINE + 1):
        number += 1
        if len(text) > MAX_LINE:
            raise UnreadableFileError(
                f"Line {number} has more than {MAX_LINE:,} characters. This is not a"
                " history file."
            )
        yield text


def _next(rows: Iterator[list[str]], *, line: int) -> list[str] | None:
    """Return the next row, or None at the end of the file."""
    try:
        return next(rows, None)
    except csv.Error as error:
        if "field larger" in str(error):
            reason = f"a cell has more than {MAX_CELL:,} characters"
        elif "end of data" in str(error):
            reason = "the file ends inside quotation marks"
        else:
            reason = "text follows a closing quotation mark"
        raise UnreadableFileError(
            f"The row that begins in line {line} cannot be read: {reason}. Look for a"
            ' quotation mark that is not doubled ("") or not closed.'
        ) from None


def _header(cells: Sequence[str]) -> list[str]:
    """Return the names of the columns; raise with all that is wrong with them."""
    names = [cell.strip() for cell in cells]
    if not any(names):
        raise UnreadableFileError("The file is empty or begins with an empty line.")
    if len(names) == 1:
        for mark, name in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
            if mark in names[0]:
                raise UnreadableFileError(
                    f"Columns are separated by {name}. Save the file with commas."
                )
    faults = {
        "Unknown": [name or "(no name)" for name in names if name not in COLUMNS],
        "Duplicate": sorted({n for n in names if n in COLUMNS and names.count(n) > 1}),
        "Missing": [name for name in REQUIRED if name not in names],
    }
    sentences = [f"{kind} columns: {_some(n)}." for kind, n in faults.items() if n]
    if faults["Unknown"]:
        sentences.append(f"Allowed columns: {', '.join(COLUMNS)}.")
    if sentences:
        raise UnreadableFileError(
            " ".join(["The header in line 1 is wrong.", *sentences])
        )
    return names


def _some(names: Sequence[str]) -> str:
    """Return the first names in a list, without control characters."""
    shown = ["".join(c if c.isprintable() else "?" for c in n)[:40] for n in names]
    more = f" and {len(names) - MAX_NAMES:,} more" if len(names) > MAX_NAMES else ""
    return ", ".join(shown[:MAX_NAMES]) + more
