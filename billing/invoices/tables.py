from billing.invoices.models import Invoice
from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import money


class WrittenMoneyColumn(tables.NumberColumn):
    """An amount in the currency of its own invoice."""

    def render(self, value, record, table):
        return money(value, record.written_in(table.shop))


class InvoiceTable(tables.ListTable):
    caption = "Invoices and credit notes"
    row_header = "number"

    number = tables.CodeColumn(
        "Number", accessor="full_number", order_by=("series", "number"), linkify=True
    )
    issued_on = tables.DateColumn("Issued")
    buyer = tables.Column("Bill to", accessor="buyer_name")
    job = tables.CodeColumn("Job", accessor="job__number")
    standing = tables.Column("Status", accessor="standing", orderable=False)
    gross = WrittenMoneyColumn("Total")
    due_on = tables.DateColumn("Due")
    owed = WrittenMoneyColumn("Balance due")

    class Meta(tables.ListTable.Meta):
        model = Invoice
        fields = []
        sequence = [
            "number",
            "issued_on",
            "buyer",
            "job",
            "standing",
            "due_on",
            "gross",
            "owed",
        ]
        empty_text = "No invoices found."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_standing(self, record):
        return badge(record.standing_on(self.on))
