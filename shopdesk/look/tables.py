"""The base of all tables, and the types of their columns."""

from django.core.paginator import Paginator
from django.utils.functional import cached_property
from django_tables2 import Column, Table

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

    class Meta:
        template_name = "shopdesk/look/table.html"

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.empty_text is None:
            self.empty_text = "Nothing here."

    @cached_property
    def shop(self):
        return Shop.current()

    def paginate(self, paginator_class=Paginator, per_page=None, page=1, **kwargs):
        """Show one page; an invalid page number gives the nearest page."""
        per_page = min(max(per_page or self._meta.per_page, 1), 200)
        self.paginator = paginator_class(self.rows, per_page, **kwargs)
        self.page = self.paginator.get_page(page)
        return self

    @property
    def heads(self):
        """Yield the column headings: the column, its classes, how it is sorted."""
        for column in self.columns:
            alias = column.order_by_alias
            sort = "descending" if alias.is_descending else "ascending"
            yield {
                "column": column,
                "look": getattr(column.column, "look", ""),
                "sort": sort if column.is_ordered else "",
                "next": alias.next if column.orderable else "",
            }

    def with_html(self):
        """Yield rows of cells, each with its column's label for narrow screens."""
        columns = list(self.columns)
        head = self.row_header or columns[0].name
        plan = [
            (c.name == head, getattr(c.column, "look", ""), c.header) for c in columns
        ]
        for row in self.paginated_rows:
            cells = [
                {
                    "is_head": is_head,
                    "look": look,
                    "label": label,
                    # So that a narrow screen can leave out empty cells.
                    "shown": "" if str(shown).isspace() else shown,
                }
                for (is_head, look, label), (_, shown) in zip(
                    plan, row.items(), strict=True
                )
            ]
            yield {"attrs": row.attrs if self.row_attrs else "", "cells": cells}


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
