"""The comeback table, and the list of the repairs behind one of its rows."""

from django.utils.html import format_html

from shopdesk.look import tables
from shopdesk.templatetags.desk import mark


def stacked(first, second):
    """Two things in one cell, one below the other."""
    return format_html("{}<br>{}", first, second)


class PairTable(tables.ListTable):
    """A row a pair, in the order of what matters until another order is asked for."""

    caption = "Every fault and fix, what matters first"
    row_header = "fault"

    fault = tables.CodeColumn(verbose_name="Fault and fix")
    verdict = tables.Column(verbose_name="Verdict, declared")
    repairs = tables.NumberColumn()
    judged = tables.NumberColumn()
    returned = tables.NumberColumn(verbose_name="Came back")
    expected = tables.NumberColumn()
    risk = tables.NumberColumn(verbose_name="Risk, limits")
    alone = tables.NumberColumn(verbose_name="By itself, limits")
    chance_over_limit = tables.NumberColumn(verbose_name="Over limit")
    mean_redo_cost = tables.MoneyColumn(verbose_name="Redo cost")
    reserve = tables.MoneyColumn()

    class Meta(tables.ListTable.Meta):
        per_page = 100
        empty_text = "No repair was handed back as fixed by that day."
        row_attrs = {"class": lambda record: "hot" if record.is_hot else ""}

    def __init__(self, *args, address_of, **kwargs):
        """`address_of` gives the page of a row, as of the same day."""
        self.address_of = address_of
        super().__init__(*args, **kwargs)

    def render_fault(self, record):
        return format_html(
            '<a href="{}">{}<span class="unseen"> / {}</span></a><br>{}',
            self.address_of(record),
            record.fault,
            record.fix,
            record.fix,
        )

    def render_repairs(self, record, value):
        return self._behind(record, value, "repairs")

    def render_judged(self, record, value):
        return self._behind(record, value, "judged repairs")

    def render_returned(self, record, value):
        return self._behind(record, value, "comebacks")

    def _behind(self, record, number, what):
        """A number that opens the jobs it counts."""
        return format_html(
            '<a href="{}#caption">{}<span class="unseen"> {} of {}</span></a>',
            self.address_of(record),
            number,
            what,
            record.called,
        )

    def render_verdict(self, record):
        declared = record.declared
        if record.flag:
            declared = format_html("{}, {}", declared, mark(record.flag))
        return stacked(mark(record.verdict), declared)

    def render_expected(self, value):
        return f"{value:.1f}"

    def render_risk(self, record):
        return stacked(record.risk_said, record.limits_said)

    def render_alone(self, record):
        return stacked(record.alone_chance_said, record.alone_limits_said)

    def render_chance_over_limit(self, record):
        return record.over_limit_said


class BehindTable(tables.ListTable):
    """The repairs that one row of the table counts."""

    caption = "The repairs behind these figures"
    row_header = "job"

    job = tables.CodeColumn(
        linkify=lambda record: record.job.get_absolute_url(), order_by="job__number"
    )
    device = tables.Column(accessor="job__device__model")
    handed_back = tables.DateColumn(accessor="job__handed_over_on")
    declared = tables.BadgeColumn(accessor="repair__declared")
    became = tables.BadgeColumn(verbose_name="What became of it")
    comeback = tables.CodeColumn(
        verbose_name="Came back as",
        linkify=lambda record: record.comeback.get_absolute_url(),
        order_by="comeback__number",
    )
    days = tables.NumberColumn(verbose_name="Days watched")
    cost = tables.MoneyColumn(verbose_name="Cost of redo")

    class Meta(tables.ListTable.Meta):
        empty_text = "No repair of this pair was handed back by that day."
