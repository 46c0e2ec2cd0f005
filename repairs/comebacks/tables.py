"""The comeback table, and the lists of repairs and comebacks behind its figures."""

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from repairs.comebacks.comeback_table import COLUMNS, HEADINGS
from repairs.comebacks.output import NO_REPAIRS
from shopdesk.look import tables
from shopdesk.look.badges import badge


def stacked(*lines):
    """Return texts in one cell, one below the other."""
    return format_html_join(SafeString("<br>"), "{}", ((line,) for line in lines))


class StackedColumn(tables.Column):
    """One or two columns of the comeback table, stacked in one column of a list."""

    def __init__(self, *names, look="num"):
        self.look = look
        self.stacked_columns = [COLUMNS[name] for name in names]
        heading = ", ".join(column.heading for column in self.stacked_columns)
        super().__init__(accessor=names[0], verbose_name=heading)

    def render(self, record):
        return stacked(*(column.format(record) for column in self.stacked_columns))


class LinkedCount(StackedColumn):
    """A count with a link to the repairs of its row."""

    def __init__(self, name, *, of=""):
        super().__init__(name)
        self.of = of or name

    def render(self, record, value, table):
        return format_html(
            '<a href="{}#caption">{}<span class="unseen"> {} of {}</span></a>',
            table.url_of(record),
            value,
            self.of,
            record.label,
        )


class PairTable(tables.ListTable):
    """One row per pair, most important first unless sorted otherwise."""

    caption = "Faults and fixes, most important first"
    row_header = "fault"

    fault = StackedColumn("fault", "fix", look="code")
    verdict = StackedColumn("verdict", "fix_type", look="")
    repairs = LinkedCount("repairs")
    followed_up = LinkedCount("followed_up", of="repairs with complete follow-up")
    comebacks = LinkedCount("comebacks")
    expected_comebacks = StackedColumn("expected_comebacks")
    risk = StackedColumn("risk", "risk_low")
    own_risk = StackedColumn("own_risk", "own_low")
    probability_above_limit = StackedColumn("probability_above_limit")
    mean_rework_cost = tables.MoneyColumn(verbose_name=HEADINGS["mean_rework_cost"])
    comeback_allowance = tables.MoneyColumn(verbose_name=HEADINGS["comeback_allowance"])

    class Meta(tables.ListTable.Meta):
        per_page = 100
        empty_text = NO_REPAIRS
        row_attrs = {
            "class": lambda record: "hot" if record.has_too_many_comebacks else ""
        }

    def __init__(self, *args, url_of, **kwargs):
        """`url_of` gives the page of a row, with the same scope."""
        self.url_of = url_of
        super().__init__(*args, **kwargs)

    def render_fault(self, record):
        return format_html(
            '<a href="{}">{}<span class="unseen"> / {}</span></a><br>{}',
            self.url_of(record),
            record.fault,
            record.fix,
            record.fix,
        )

    def render_verdict(self, record):
        recorded = record.fix_type
        if record.mismatch:
            recorded = format_html("{}, {}", recorded, badge(record.mismatch))
        return stacked(badge(record.verdict), recorded)


class OutcomeTable(tables.ListTable):
    """The repairs behind a row of the table."""

    caption = "Repairs in this figure"
    row_header = "job"

    job = tables.CodeColumn(
        linkify=lambda record: record.job.get_absolute_url(), order_by="job__number"
    )
    device = tables.Column(accessor="job__device__model")
    handed_over = tables.DateColumn(accessor="job__handed_over_on")
    fix_type = tables.BadgeColumn(verbose_name="Type", accessor="repair__fix_type")
    result = tables.BadgeColumn()
    comeback = tables.CodeColumn(
        verbose_name="Comeback job",
        accessor="comeback__job",
        linkify=lambda record: record.comeback.job.get_absolute_url(),
        order_by="comeback__job__number",
    )
    days = tables.NumberColumn(verbose_name="Days followed up")
    cost = tables.MoneyColumn(verbose_name="Rework cost", accessor="comeback__cost")

    class Meta(tables.ListTable.Meta):
        empty_text = "No repairs of this pair handed over by that day."


class PairOutcomeTable(OutcomeTable):
    """The repairs behind a month, a delivery, a model or a board revision."""

    pair = tables.CodeColumn(
        verbose_name="Fault and fix", accessor="repair", order_by="repair__fault__code"
    )

    class Meta(OutcomeTable.Meta):
        sequence = ("job", "pair", "...")
        empty_text = NO_REPAIRS


class ComebackCostTable(tables.ListTable):
    """Comebacks, each with the repair that it is linked to."""

    caption = "Comebacks in this figure"
    row_header = "job"

    job = tables.CodeColumn(
        linkify=lambda record: record.job.get_absolute_url(), order_by="job__number"
    )
    pair = tables.CodeColumn(
        verbose_name="Fault and fix",
        accessor="earlier",
        order_by="earlier__fault__code",
    )
    device = tables.Column(accessor="job__device__model")
    first = tables.CodeColumn(
        verbose_name="Original repair",
        accessor="earlier__job",
        linkify=lambda record: record.earlier.job.get_absolute_url(),
        order_by="earlier__job__number",
    )
    back = tables.DateColumn(verbose_name="Came back", accessor="job__booked_in_on")
    handed_over = tables.DateColumn(accessor="job__handed_over_on")
    cost = tables.MoneyColumn()

    class Meta(tables.ListTable.Meta):
        empty_text = "No comebacks by that day."
