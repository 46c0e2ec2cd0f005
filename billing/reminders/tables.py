from django.urls import reverse
from django.utils.html import format_html

from billing.invoices.models import Invoice
from billing.invoices.tables import WrittenMoneyColumn
from shopdesk.look import tables


class OwedTable(tables.ListTable):
    """Bills with something left to pay, the oldest first."""

    caption = "Money owed"
    row_header = "number"

    number = tables.CodeColumn(
        "Number", accessor="full_number", order_by=("series", "number"), linkify=True
    )
    buyer = tables.Column("From", accessor="buyer_name")
    due_on = tables.DateColumn("Due")
    late = tables.NumberColumn("Days overdue", empty_values=(), order_by="-due_on")
    owed = WrittenMoneyColumn("Left to pay")
    reminded = tables.NumberColumn("Reminders")
    reminded_on = tables.DateColumn("Last one")
    remind = tables.Column("Remind", empty_values=(), orderable=False)

    class Meta(tables.ListTable.Meta):
        model = Invoice
        fields = []
        sequence = [
            *("number", "buyer", "due_on", "late", "owed"),
            *("reminded", "reminded_on", "remind"),
        ]
        empty_text = "Nobody owes anything."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_late(self, record):
        return record.days_late(self.on) or "not yet"

    def render_remind(self, record):
        if not record.days_late(self.on):
            return ""
        return format_html(
            '<a href="{}">Remind<span class="unseen"> of {}</span></a>',
            reverse("reminders:remind", args=[record.pk]),
            record.full_number,
        )
