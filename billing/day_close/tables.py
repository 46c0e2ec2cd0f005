from billing.invoices.models import DayClose
from billing.invoices.tables import OwnCurrencyColumn
from shopdesk.look import tables


class DayCloseTable(tables.ListTable):
    caption = "Closed days"
    row_header = "day"

    day = tables.DateColumn("Day", linkify=True)
    cash = OwnCurrencyColumn("Cash taken")
    counted = OwnCurrencyColumn("Counted")
    difference = OwnCurrencyColumn("Difference", orderable=False)
    why = tables.Column("Reason", orderable=False)
    cash_removed = OwnCurrencyColumn("Cash removed")
    closed_at = tables.MomentColumn("Closed")
    closed_by = tables.Column("Closed by", orderable=False)

    class Meta(tables.ListTable.Meta):
        model = DayClose
        fields = []
        empty_text = "No closed days."
