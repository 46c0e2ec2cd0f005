"""The lists of the jobs behind a total."""

from repairs.comebacks.tables import BehindTable
from shopdesk.look import tables


class RepairsTable(BehindTable):
    """The repairs behind a month, a delivery, a model or a board revision."""

    pair = tables.CodeColumn(
        verbose_name="Fault and fix", accessor="repair", order_by="repair__fault__code"
    )

    class Meta(BehindTable.Meta):
        sequence = ("job", "pair", "...")
        empty_text = "No repair of these was handed back as fixed by that day."


class CountedTable(RepairsTable):
    """The repairs behind a total of the whole table, a page at a time."""

    class Meta(RepairsTable.Meta):
        per_page = 50


class RedoneTable(tables.ListTable):
    """Comebacks, with the repair that each is held against."""

    caption = "The comebacks behind these figures"
    row_header = "job"

    job = tables.CodeColumn(
        linkify=lambda record: record.job.get_absolute_url(), order_by="job__number"
    )
    pair = tables.CodeColumn(
        verbose_name="Fault and fix", accessor="repair", order_by="repair__fault__code"
    )
    device = tables.Column(accessor="job__device__model")
    first = tables.CodeColumn(
        verbose_name="First repaired as",
        accessor="repair__job",
        linkify=lambda record: record.repair.job.get_absolute_url(),
        order_by="repair__job__number",
    )
    back = tables.DateColumn(verbose_name="Came back", accessor="job__booked_in_on")
    handed_back = tables.DateColumn(accessor="job__handed_over_on")
    cost = tables.MoneyColumn()

    class Meta(tables.ListTable.Meta):
        empty_text = "No such comeback by that day."
