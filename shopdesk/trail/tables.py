from django.utils.html import format_html, format_html_join

from shopdesk.look import tables

LINE_BREAK = format_html("{}<br>", "")


class LinesColumn(tables.WordsColumn):
    """Sentences, one to a line."""

    def render(self, value):
        return format_html_join(LINE_BREAK, "{}", ((line,) for line in value))


class HistoryTable(tables.ListTable):
    """Entries about one record; `describe` sets what the columns show."""

    caption = "Changes, latest first"

    at = tables.MomentColumn(verbose_name="When")
    who = tables.Column(verbose_name="By", empty_values=())
    lines = LinesColumn(verbose_name="What")

    class Meta(tables.ListTable.Meta):
        orderable = False
        per_page = 50
        empty_text = "No changes recorded."


class TrailTable(HistoryTable):
    caption = "Audit trail"

    about = tables.Column(
        verbose_name="Record", linkify=lambda record: record.about_url or None
    )

    class Meta(HistoryTable.Meta):
        sequence = ("at", "who", "about", "lines")
        empty_text = "No entries found."
