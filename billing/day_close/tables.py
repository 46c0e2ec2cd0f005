from billing.invoices.models import DayClose
from shopdesk.look import tables


class DayCloseTable(tables.ListTable):
    caption = "Closed days"
    row_header = "day"

    day = tables.DateColumn("Day", linkify=True)
    cash = tables.OwnCurrencyColumn("Cash taken")
    counted = tables.OwnCurrencyColumn("Counted")
    difference = tables.OwnCurrencyColumn("Difference", orderable=False)
    why = tables.Column("Reason", orderable=False)
    cash_removed = tables.OwnCurrencyColumn("Cash removed")
    closed_at = tables.MomentColumn("Closed")
    closed_by = tables.Column("Closed by", orderable=False)

    class Meta(tables.ListTable.Meta):
        model = DayClose
        fields = []
        empty_text = "No closed days."
