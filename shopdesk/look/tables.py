"""The base of all tables, and the types of their columns."""

from functools import cache

from django.core.exceptions import FieldDoesNotExist
from django.core.paginator import Paginator
from django.db import models
from django.utils.functional import cached_property
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext
from django_tables2 import Column, Table
from django_tables2.utils import Accessor, signature

from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import day, minutes, moment, money, percent
from shopdesk.shop.models import Shop


class ListTable(Table):
    """A list with the template of this project.

    A room's table names its columns, its `caption`, and the column that heads each row
    (`row_header`; else the first one). `RequestConfig(request).configure(table)` takes
    sorting and page from the address.
    """

    caption = ""
    row_header = ""
    is_downloadable = False

    class Meta:
        template_name = "shopdesk/look/table.html"

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.empty_text is None:
            self.empty_text = gettext("Nothing here.")

    @cached_property
    def shop(self):
        return Shop.current()

    def paginate(self, paginator_class=Paginator, per_page=None, page=1, **kwargs):
        """Show one page; an invalid page number gives the nearest page."""
        per_page = min(max(per_page or self._meta.per_page, 1), 200)
        self.paginator = paginator_class(self.rows, per_page, **kwargs)
        self.page = self.paginator.get_page(page)
        self.page.object_list = _found_by_key(self.page.object_list, self)
        return self

    @property
    def heads(self):
        """Yield the column headings: the column, its classes, how it is sorted."""
        for column in self.columns:
            alias = column.order_by_alias
            sort = "descending" if alias.is_descending else "ascending"
            yield {
                "column": column,
                "text": heading(column),
                "look": getattr(column.column, "look", ""),
                "sort": sort if column.is_ordered else "",
                "next": alias.next if column.orderable else "",
            }

    def rows_html(self):
        """Return the rows of this page as HTML; cells have labels for narrow screens.

        Written here and not in the template, where they took most of a page's time.
        """
        cells = cells_of(self)
        rows = (self._row_html(row, cells) for row in self.paginated_rows)
        return format_html_join("\n", "<tr{}>{}</tr>", rows)

    def file_rows(self):
        """Yield the rows of a file: all, not only those of this page."""
        yield from self.rows

    def _row_html(self, row, cells):
        attrs = format_html(" {}", row.attrs.as_html()) if self.row_attrs else ""
        shown = ((cell.begin, cell.shown(row), cell.end) for cell in cells)
        return attrs, format_html_join("", "{}{}{}", shown)


def heading(column) -> str:
    """Return the heading of a column, translated also if its name is the field's."""
    return gettext(str(column.header)) if column.header else ""


def cells_of(table):
    """Return what writes the cells of each column."""
    head = table.row_header or next(iter(table.columns)).name
    return [_Cell(table, c, is_head=c.name == head) for c in table.columns]


def _found_by_key(rows, table):
    """Return the rows of a page of records, found by their keys.

    Else databases compute all columns of the rows before the page, too.
    """
    if isinstance(rows.data, models.QuerySet):
        keys = list(rows.data.values_list("pk", flat=True))
        rows.data = table.data.data.filter(pk__in=keys)
    return rows


class _Cell:
    """The cells of one column: what is the same in every row is looked up once."""

    def __init__(self, table, column, *, is_head):
        self.table, self.column = table, column
        self.accessor = Accessor(column.accessor)
        self.render_names, _ = signature(column.render)
        tag = format_html("{}", "th" if is_head else "td")
        look = getattr(column.column, "look", "")
        attrs = [("scope", "row")] if is_head else []
        attrs += [("class", look)] if look else []
        if column.header and not is_head:
            attrs.append(("data-label", heading(column)))
        inside = format_html_join("", ' {}="{}"', attrs)
        self.begin = format_html("<{}{}>", tag, inside)
        self.end = format_html("</{}>", tag)

    @property
    def is_exported(self) -> bool:
        """Whether a file has the column; one of buttons says nothing there."""
        return not self.column.column.exclude_from_export

    @property
    def has_own_currency(self) -> bool:
        return isinstance(self.column.column, OwnCurrencyColumn)

    def shown(self, row):
        """Return the cell; a narrow screen leaves out one that is empty."""
        text = self.text(row)
        return "" if str(text).isspace() else text

    def stored(self, row):
        """Return the value of a column whose type is its own; None if it is shown
        otherwise than it is stored.
        """
        if value := getattr(self.table, f"value_{self.column.name}", None):
            return value(row.record)
        is_own = isinstance(
            self.column.column, NumberColumn | DateColumn | MomentColumn
        )
        has_render = hasattr(self.table, f"render_{self.column.name}")
        return self._value(row.record) if is_own and not has_render else None

    def text(self, row):
        """Return what `row.get_cell` would, in a third of the time."""
        value = self._value(row.record)
        column = self.column
        if value in column.column.empty_values:
            return column.default
        facts = {
            "value": value,
            "record": row.record,
            "column": column.column,
            "bound_column": column,
            "bound_row": row,
            "table": self.table,
        }
        text = column.render(**{name: facts[name] for name in self.render_names})
        return column.link(text, **facts) if column.link else text

    def _value(self, record):
        owner, name = self.accessor.penultimate(record, quiet=True)
        if isinstance(owner, models.Model) and _has_choices(type(owner), name):
            return getattr(owner, f"get_{name}_display")()
        return self.accessor.resolve(record, quiet=True)


@cache
def _has_choices(model, name):
    """Whether the column of this name is stored as one of its choices."""
    try:
        return bool(getattr(model._meta.get_field(name), "choices", None))
    except FieldDoesNotExist:
        return False


class WordsColumn(Column):
    """Text wide enough for several words to a line, on narrow screens too."""

    look = "wordy"


class DateColumn(Column):
    """A date, or the local date of a moment."""

    look = "day"

    def render(self, value):
        return day(value)


class MomentColumn(Column):
    look = "day"

    def render(self, value):
        return moment(value)


class NumberColumn(Column):
    """A number, right-aligned so that digits line up."""

    look = "num"


class MoneyColumn(NumberColumn):
    """An amount in the shop's currency."""

    def render(self, value, table):
        return money(value, table.shop)


class OwnCurrencyColumn(MoneyColumn):
    """An amount in the currency of its own record; a file names the currency, too."""

    def render(self, value, record, table):
        return money(value, record.written_in(table.shop))


class MinutesColumn(NumberColumn):
    def render(self, value):
        return minutes(value)


class PercentColumn(NumberColumn):
    """A share between 0 and 1, shown in percent."""

    def __init__(self, *args, places=0, **kwargs):
        super().__init__(*args, **kwargs)
        self.places = places

    def render(self, value):
        return percent(value, self.places)


class CodeColumn(Column):
    """A number, serial or code, in a typeface with unmistakable letters."""

    look = "code"


class BadgeColumn(Column):
    """A state as icon and word."""

    def render(self, value):
        return badge(value)
