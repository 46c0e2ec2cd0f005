"""A file that cannot be read is refused with a message, and nothing is kept of it."""

import io
import zipfile

import openpyxl.drawing.image
import pytest
from PIL import Image

from repairs.sheet_import import sheet_file
from repairs.sheet_import.decisions import DecisionError, Decisions
from repairs.sheet_import.sheet_file import SheetError, read_table
from tests.repairs.sheet_import import messy, sheets


def with_part(content, name, data):
    """Return an archive with one part more, or another one of that name."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for info in old.infolist():
            if info.filename != name:
                new.writestr(info, old.read(info))
        new.writestr(name, data)
    return out.getvalue()


def only_pictures():
    def add(book):
        drawn = io.BytesIO()
        Image.new("RGB", (9, 9)).save(drawn, "PNG")
        picture = openpyxl.drawing.image.Image(drawn)
        book.active.add_image(picture, "A1")

    return sheets.workbook(before=add)


JOBS = sheets.workbook(["customer", "date in"], ["Ada", "1.2.2024"])
DOCTYPE = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "b">]><worksheet/>'
SHEET = "xl/worksheets/sheet1.xml"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "The file is empty"),
        (b"\r\n\r\n ; ;\r\n", "is empty"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), "protected by a password"),
        (with_part(JOBS, "xl/vbaProject.bin", b"x"), "has macros"),
        (with_part(JOBS, "xl/media/x.bin", bytes(3_000_000)), "when unpacked"),
        (with_part(JOBS, SHEET, DOCTYPE), "damaged or malicious"),
        (with_part(JOBS, SHEET, b"<worksheet><sheetData><row"), "is damaged"),
        (JOBS[:-40], "damaged or protected"),
        (b"PK\x03\x04", "damaged or protected"),
        (only_pictures(), "has pictures but no cells"),
        (sheets.workbook(), "is empty"),
        (sheets.workbook(["x"] * 501), "more than 500 columns"),
        (b"a," * 10**6, "more than 200,000 characters"),
        (b"a," * 501, "more than 500 columns"),
        (b'name,date\n"' + b"x\n" * 30_000, "quotation mark that is not closed"),
        (b"name\x00,date\n", "NUL bytes"),
    ],
)
def test_a_bad_file_is_refused_with_the_reason(content, message, monkeypatch):
    monkeypatch.setattr(sheet_file, "MAX_UNPACKED", 2_000_000)
    with pytest.raises(SheetError, match=message):
        read_table(io.BytesIO(content))


class Endless(io.RawIOBase):
    """A line without end; it counts what is read of it."""

    taken = 0

    def readable(self):
        return True

    def seekable(self):
        return True

    def seek(self, *where):
        return 0

    def tell(self):
        return 0

    def readinto(self, buffer):
        buffer[:] = b"a" * len(buffer)
        self.taken += len(buffer)
        return len(buffer)


def test_an_endless_line_is_refused_after_its_first_part():
    file = Endless()
    with pytest.raises(SheetError, match="Line 1 has more than"):
        read_table(io.BufferedReader(file))
    assert file.taken < 3_000_000


def test_a_formula_without_a_result_is_named():
    table = read_table(
        io.BytesIO(sheets.workbook(["customer", "paid"], ["Ada", "=20+25"], ["Ben", 9]))
    )
    assert "formula without a result is in cell B2" in table.warnings[0]
    assert [row.cells for row in table.rows][1:] == [["Ada"], ["Ben", 9]]


def test_every_encoding_separator_and_workbook_gives_the_same_rows():
    lines, _ = messy.rows(40)
    wanted = read_table(io.BytesIO(messy.text(lines).encode()))
    assert wanted.separator == ";"
    for encoding in ("utf-8-sig", "cp1252", "latin-1", "utf-16"):
        for separator in (";", ",", "\t"):
            text = messy.text(lines, separator)
            if encoding == "latin-1":
                text = text.replace("€", "EUR").replace("’", "'")
            table = read_table(io.BytesIO(text.encode(encoding)))
            assert table.separator == separator
            if encoding != "latin-1":
                assert table.rows == wanted.rows, encoding
    book = read_table(
        io.BytesIO(
            sheets.workbook(
                *(["Repairs of the shop"], [], messy.HEADER, *lines),
                before=lambda book: book.create_sheet("Notes", 0),
            )
        )
    )
    assert (book.sheets, book.sheet) == (["Notes", "Jobs"], "Jobs")
    assert [[c for c in row.cells if c] for row in book.rows] == [
        [c for c in row.cells if c] for row in wanted.rows
    ]


def test_decisions_that_make_no_sense_are_refused():
    with pytest.raises(DecisionError, match="Both “A” and “B” are customer"):
        Decisions(columns={"A": "customer", "B": "customer"})
    for text in (
        "[]",
        "{",
        '{"colour": 1}',
        '{"date_order": "both"}',
        '{"left_out": 3}',
    ):
        with pytest.raises(DecisionError):
            Decisions.from_json(text)
