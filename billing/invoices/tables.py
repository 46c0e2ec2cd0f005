from billing.invoices.models import Invoice
from shopdesk.look import tables
from shopdesk.look.badges import badge


class InvoiceTable(tables.ListTable):
    """Invoices and credit notes, with their status on the day `on`."""

    caption = "Invoices and credit notes"
    row_header = "number"

    number = tables.CodeColumn(
        "Number", accessor="full_number", order_by=("series", "number"), linkify=True
    )
    issued_on = tables.DateColumn("Issued")
    buyer = tables.Column("Bill to", accessor="buyer_name")
    job = tables.CodeColumn("Job", accessor="job__number")
    status = tables.Column("Status", accessor="status", orderable=False)
    due_on = tables.DateColumn("Due")
    gross = tables.OwnCurrencyColumn("Total")
    owed = tables.OwnCurrencyColumn("Balance due")

    class Meta(tables.ListTable.Meta):
        model = Invoice
        fields = []
        empty_text = "No invoices found."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_status(self, record):
        return badge(record.status_on(self.on))
