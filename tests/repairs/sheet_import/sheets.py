"""Small lists for the tests, as a text file or a workbook."""

import io

import openpyxl

from repairs.sheet_import.sheet_columns import split_header
from repairs.sheet_import.sheet_file import SheetRow, SheetTable


def columns(*rows):
    """Return the header and the rows below it."""
    return split_header(
        SheetTable([SheetRow(n, list(row)) for n, row in enumerate(rows, start=1)])
    )


def workbook(*rows, title="Jobs", before=None):
    """Return the bytes of a workbook; `before` may add to it."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = title
    for row in rows:
        sheet.append(row)
    if before:
        before(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
