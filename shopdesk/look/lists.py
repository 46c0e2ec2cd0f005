"""Pages of one list; what it shows, on all its pages, can be downloaded as a file."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from decimal import Decimal
from tempfile import TemporaryFile

from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.html import strip_tags
from django.utils.text import slugify
from django_tables2 import RequestConfig

from shopdesk.look.downloads import download
from shopdesk.look.tables import ListTable, cells_of
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.screen_language import locale_of
from shopdesk.spreadsheet import write_csv, write_workbook

FILE = "as"
"""The parameter of an address that asks for the list as a file."""
WRITERS = {"csv": write_csv, "xlsx": write_workbook}
CURRENCY = "Currency"
"""The column of a file whose amounts may be in several currencies."""


def list_page(request, template: str, table: ListTable, **facts):
    """Show a list as the address sorts and filters it, or send it as a file.

    The file has the columns and rows of the list, with numbers and dates as such; a
    method `value_NAME` of the table gives what it has in place of a column's text.
    """
    RequestConfig(request).configure(table)
    kind = request.GET.get(FILE)
    if kind not in WRITERS:
        table.is_downloadable = True
        return render(request, template, {"table": table, **facts})
    # Programs read files, so their columns have the same names in every language.
    with translation.override(locale_of("en")):
        cells = [cell for cell in cells_of(table) if cell.is_exported]
        heads = [str(cell.column.header) for cell in cells]
        if is_mixed := any(cell.has_own_currency for cell in cells):
            heads.append(CURRENCY)
        name = f"{slugify(str(table.caption)) or 'list'}.{kind}"
        return send_rows(name, heads, _rows(table, cells, is_mixed=is_mixed))


def send_rows(name: str, heads: Sequence[str], rows: Iterable[Sequence[object]]):
    """Send rows as the file that the ending of `name` says, and record that."""
    record_event(Action.DOWNLOADED, file=name)
    file = _new_file()
    WRITERS[name.rpartition(".")[2]](file, heads, rows)
    file.seek(0)
    return download(file, name=name)


def _new_file():
    """Return a file on the disk, as a list can be long; its response closes it."""
    return TemporaryFile()


def _rows(table: ListTable, cells, *, is_mixed: bool) -> Iterator[list[object]]:
    for row in table.file_rows():
        values = [_plain(cell, row) for cell in cells]
        yield [*values, row.record.currency] if is_mixed else values


def _plain(cell, row) -> object:
    """Return a number or date as it is stored, anything else as the list shows it,
    unless the table gives something else for a file.
    """
    value = cell.stored(row)
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, datetime):
        return timezone.localtime(value).replace(tzinfo=None, microsecond=0)
    if isinstance(value, int | float | Decimal | date | str):
        return value
    return " ".join(strip_tags(str(cell.text(row))).split())
