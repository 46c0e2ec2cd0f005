from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext_lazy
from django_tables2.rows import BoundRow

from shopdesk.look import tables
from shopdesk.lookup import in_batches
from shopdesk.trail.sentences import describe

LINE_BREAK = format_html("{}<br>", "")


class LinesColumn(tables.WordsColumn):
    """Sentences, one to a line."""

    def render(self, value):
        return format_html_join(LINE_BREAK, "{}", ((line,) for line in value))


class HistoryTable(tables.ListTable):
    """Entries about one record; `describe` sets what the columns show."""

    caption = gettext_lazy("Changes, latest first")

    at = tables.MomentColumn(verbose_name=gettext_lazy("When"))
    who = tables.Column(verbose_name=gettext_lazy("By"), empty_values=())
    lines = LinesColumn(verbose_name=gettext_lazy("What"))

    class Meta(tables.ListTable.Meta):
        orderable = False
        per_page = 50
        empty_text = gettext_lazy("No changes recorded.")


class TrailTable(HistoryTable):
    caption = gettext_lazy("Audit trail")

    about = tables.Column(
        verbose_name=gettext_lazy("Record"),
        linkify=lambda record: record.about_url or None,
    )

    class Meta(HistoryTable.Meta):
        sequence = ("at", "who", "about", "lines")
        empty_text = gettext_lazy("No entries found.")

    def __init__(self, entries, *, shop, user):
        super().__init__(entries)
        self.entries, self.shop, self.user = entries, shop, user

    def paginate(self, *args, **kwargs):
        super().paginate(*args, **kwargs)
        self._describe([row.record for row in self.paginated_rows])
        return self

    def file_rows(self):
        """Yield all rows, of which few are in memory, and none is locked for long."""
        for batch in in_batches(self.entries):
            self._describe(batch)
            yield from (BoundRow(entry, table=self) for entry in batch)

    def value_lines(self, entry):
        return "; ".join(entry.lines)

    def _describe(self, entries):
        describe(entries, shop=self.shop, user=self.user)
