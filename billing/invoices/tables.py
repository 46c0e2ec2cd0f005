from django.utils.translation import gettext_lazy

from billing.invoices.models import Invoice
from shopdesk.look import tables
from shopdesk.look.badges import badge


class InvoiceTable(tables.ListTable):
    """Invoices and credit notes, with their status on the day `on`."""

    caption = gettext_lazy("Invoices and credit notes")
    row_header = "number"

    number = tables.CodeColumn(
        gettext_lazy("Number"),
        accessor="full_number",
        order_by=("series", "number"),
        linkify=True,
    )
    issued_on = tables.DateColumn(gettext_lazy("Issued"))
    buyer = tables.Column(gettext_lazy("Bill to"), accessor="buyer_name")
    job = tables.CodeColumn(gettext_lazy("Job"), accessor="job__number")
    status = tables.Column(gettext_lazy("Status"), accessor="status", orderable=False)
    due_on = tables.DateColumn(gettext_lazy("Due"))
    gross = tables.OwnCurrencyColumn(gettext_lazy("Total"))
    owed = tables.OwnCurrencyColumn(gettext_lazy("Balance due"))

    class Meta(tables.ListTable.Meta):
        model = Invoice
        fields = []
        empty_text = gettext_lazy("No invoices found.")

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_status(self, record):
        return badge(record.status_on(self.on))
