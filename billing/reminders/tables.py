from django.urls import reverse
from django.utils.html import format_html

from billing.invoices.models import Invoice
from billing.invoices.tables import WrittenMoneyColumn
from shopdesk.look import tables


class OwedTable(tables.ListTable):
    """Invoices with a balance due, the oldest first."""

    caption = "Outstanding invoices"
    row_header = "number"

    number = tables.CodeColumn(
        "Number", accessor="full_number", order_by=("series", "number"), linkify=True
    )
    buyer = tables.Column("Customer", accessor="buyer_name")
    due_on = tables.DateColumn("Due")
    late = tables.NumberColumn("Days overdue", empty_values=(), order_by="-due_on")
    owed = WrittenMoneyColumn("Balance due")
    reminded = tables.NumberColumn("Reminders")
    reminded_on = tables.DateColumn("Last reminder")
    remind = tables.Column("Action", empty_values=(), orderable=False)

    class Meta(tables.ListTable.Meta):
        model = Invoice
        fields = []
        sequence = [
            *("number", "buyer", "due_on", "late", "owed"),
            *("reminded", "reminded_on", "remind"),
        ]
        empty_text = "No outstanding invoices."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_late(self, record):
        return record.days_late(self.on) or "not due"

    def render_remind(self, record):
        if not record.days_late(self.on):
            return ""
        return format_html(
            '<a href="{}">Send reminder<span class="unseen"> for {}</span></a>',
            reverse("reminders:remind", args=[record.pk]),
            record.full_number,
        )
