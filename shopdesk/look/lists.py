"""Pages of one list; what it shows, on all its pages, can be downloaded as a file."""

from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal

from django.shortcuts import render
from django.utils import timezone
from django.utils.html import strip_tags
from django.utils.text import slugify
from django_tables2 import RequestConfig

from shopdesk.look.downloads import download
from shopdesk.look.tables import ListTable, cells_of
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.spreadsheet import csv_text, workbook

FILE = "as"
"""The parameter of an address that asks for the list as a file."""
WRITERS = {"csv": csv_text, "xlsx": workbook}


def list_page(request, template: str, table: ListTable, **facts):
    """Show a list as the address sorts and filters it, or send it as a file.

    The file has the columns and rows of the list, with numbers and dates as such.
    """
    RequestConfig(request).configure(table)
    kind = request.GET.get(FILE)
    if kind not in WRITERS:
        table.is_downloadable = True
        return render(request, template, {"table": table, **facts})
    name = f"{slugify(str(table.caption)) or 'list'}.{kind}"
    cells = [cell for cell in cells_of(table) if cell.is_exported]
    heads = [str(cell.column.header) for cell in cells]
    content = WRITERS[kind](heads, _rows(table, cells))
    record_event(Action.DOWNLOADED, file=name)
    return download(content, name=name)


def _rows(table: ListTable, cells) -> Iterator[list[object]]:
    for row in table.rows:
        yield [_plain(cell, row) for cell in cells]


def _plain(cell, row) -> object:
    """Return a number or date as it is stored, anything else as the list shows it."""
    value = cell.stored(row)
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, datetime):
        return timezone.localtime(value).replace(tzinfo=None, microsecond=0)
    if isinstance(value, int | float | Decimal | date):
        return value
    return " ".join(strip_tags(str(cell.text(row))).split())
