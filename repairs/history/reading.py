"""From a file on disk to the cells of its rows, each with the line it begins on.

Memory holds one row at a time: a file of one endless line is refused, not loaded.
"""

import codecs
import csv
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TextIO

from repairs.history.columns import COLUMNS, REQUIRED
from repairs.history.wrongs import Unreadable, Wrongs

CHUNK = 1 << 20
LONGEST_LINE = 200_000
LONGEST_CELL = 20_000
FEW = 8
"""As many names of columns are told in one sentence."""

Cells = dict[str, str]


def check_text(path: Path) -> None:
    """Raise Unreadable, saying where, for what is not UTF-8 text."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    lines = 1
    with path.open("rb") as file:
        start = file.read(4)
        if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            raise Unreadable("The file is UTF-16. Save it again as CSV in UTF-8.")
        if start == b"PK\x03\x04":
            raise Unreadable("This is a spreadsheet or archive. Save it as CSV, UTF-8.")
        file.seek(0)
        while chunk := file.read(CHUNK):
            if b"\x00" in chunk:
                line = lines + chunk[: chunk.index(b"\x00")].count(b"\n")
                raise Unreadable(
                    f"There is a NUL byte in line {line}: this is no plain text in"
                    " UTF-8. Save it again as CSV in UTF-8."
                )
            waiting = decoder.getstate()[0]
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError as error:
                _not_utf8(waiting + chunk, at=error.start, lines=lines)
            lines += chunk.count(b"\n")
        try:
            decoder.decode(b"", final=True)
        except UnicodeDecodeError as error:
            _not_utf8(error.object, at=error.start, lines=lines)


def _not_utf8(chunk: bytes, *, at: int, lines: int) -> None:
    line = lines + chunk[:at].count(b"\n")
    raise Unreadable(
        f"The file is not UTF-8: byte 0x{chunk[at]:02X} in line {line} is no text"
        " there. Save it again as CSV in UTF-8."
    )


def read_rows(path: Path, *, wrongs: Wrongs) -> Iterator[tuple[int, Cells]]:
    """The cells of each row by column, with the line where the row begins.

    What is wrong with one row is added to `wrongs`, and the row left out. Raises
    Unreadable where nothing can be read from there on. Empty rows are passed over.
    """
    check_text(path)
    csv.field_size_limit(LONGEST_CELL)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = csv.reader(_lines(file), strict=True)
        header = _header(_next(rows, line=1))
        line = rows.line_num + 1
        while (cells := _next(rows, line=line)) is not None:
            if any(map(str.strip, cells)):
                if len(cells) == len(header):
                    yield line, dict(zip(header, cells, strict=True))
                else:
                    wrongs.add(line, "", _wrong_width(len(cells), wanted=len(header)))
            line = rows.line_num + 1


def _lines(file: TextIO) -> Iterator[str]:
    number = 0
    while text := file.readline(LONGEST_LINE + 1):
        number += 1
        if len(text) > LONGEST_LINE:
            raise Unreadable(
                f"Line {number} is longer than {LONGEST_LINE:,} characters: this is no"
                " history file."
            )
        yield text


def _next(rows: Iterator[list[str]], *, line: int) -> list[str] | None:
    """The next row, or None at the end of the file."""
    try:
        return next(rows, None)
    except csv.Error as error:
        if "field larger" in str(error):
            why = f"a cell is longer than {LONGEST_CELL:,} characters"
        elif "end of data" in str(error):
            why = "the file ends within quotation marks"
        else:
            why = "text goes on after a closing quotation mark"
        raise Unreadable(
            f"The row that begins in line {line} can't be read: {why}. Look for a"
            ' quotation mark that is not doubled ("") or not closed.'
        ) from None


def _header(cells: Sequence[str] | None) -> list[str]:
    """The names of the columns. Raises Unreadable with all that is wrong with them."""
    names = [cell.strip() for cell in cells or []]
    if not any(names):
        raise Unreadable("The file is empty, or begins with an empty line.")
    if len(names) == 1:
        for mark, called in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
            if mark in names[0]:
                raise Unreadable(
                    f"The columns are separated by {called}: save the file again with"
                    " commas."
                )
    said = []
    unknown = [name or "(no name)" for name in names if name not in COLUMNS]
    if unknown:
        said.append(
            f"Unknown columns: {_some(unknown)}. Known are: {', '.join(COLUMNS)}."
        )
    twice = sorted(
        {name for name in names if name in COLUMNS and names.count(name) > 1}
    )
    if twice:
        said.append(f"Columns that are there twice: {_some(twice)}.")
    missing = [name for name in REQUIRED if name not in names]
    if missing:
        said.append(f"Missing columns: {_some(missing)}.")
    if said:
        raise Unreadable(" ".join(["The header in line 1 is wrong.", *said]))
    return names


def _some(names: Sequence[str]) -> str:
    told = ", ".join(_printable(name)[:40] for name in names[:FEW])
    return told + (f" and {len(names) - FEW:,} more" if len(names) > FEW else "")


def _printable(name: str) -> str:
    """The name without what would steer a terminal."""
    return "".join(c if c.isprintable() else "?" for c in name)


def _wrong_width(cells: int, *, wanted: int) -> str:
    return (
        f"This row has {cells:,} cells, the header has {wanted}. A cell with a comma"
        " needs quotation marks around it."
    )
