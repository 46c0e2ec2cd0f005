from billing.invoices.models import DayClose
from shopdesk.look import tables
from shopdesk.look.shop_formats import money
from shopdesk.shop.currencies import Currency


class TillMoneyColumn(tables.NumberColumn):
    def render(self, value, record, table):
        return money(value, Currency(record.currency, table.shop.locale))


class DayTable(tables.ListTable):
    caption = "Closed days"
    row_header = "day"

    day = tables.DateColumn("Day", linkify=True)
    cash = TillMoneyColumn("Cash taken")
    counted = TillMoneyColumn("Counted")
    difference = TillMoneyColumn("Difference", orderable=False)
    why = tables.Column("Reason", orderable=False)
    cash_removed = TillMoneyColumn("Cash removed")
    closed_at = tables.MomentColumn("Closed")
    closed_by = tables.Column("Closed by", orderable=False)

    class Meta(tables.ListTable.Meta):
        model = DayClose
        fields = []
        sequence = [
            *("day", "cash", "counted", "difference"),
            *("why", "cash_removed", "closed_at", "closed_by"),
        ]
        empty_text = "No closed days."
