from billing.day_close.models import DayClose
from shopdesk.look import tables
from shopdesk.shop.currencies import Currency
from shopdesk.templatetags.desk import money


class TillMoneyColumn(tables.NumberColumn):
    def render(self, value, record, table):
        return money(value, Currency(record.currency, table.shop.locale))


class DayTable(tables.ListTable):
    caption = "Days that are closed"
    row_header = "day"

    day = tables.DateColumn("Day", linkify=True)
    cash = TillMoneyColumn("Cash taken")
    counted = TillMoneyColumn("Counted")
    difference = TillMoneyColumn("Difference", orderable=False)
    why = tables.Column("Why", orderable=False)
    cash_removed = TillMoneyColumn("Taken out")
    closed_at = tables.MomentColumn("Closed")
    closed_by = tables.Column("By", orderable=False)

    class Meta(tables.ListTable.Meta):
        model = DayClose
        fields = []
        sequence = [
            *("day", "cash", "counted", "difference"),
            *("why", "cash_removed", "closed_at", "closed_by"),
        ]
        empty_text = "No day was closed yet."
