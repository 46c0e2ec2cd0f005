from django.urls import reverse
from django.utils.html import format_html
from django.utils.translation import gettext, gettext_lazy

from billing.invoices.tables import InvoiceTable
from shopdesk.look import tables


class OutstandingTable(InvoiceTable):
    """Invoices with a balance due, oldest first."""

    caption = gettext_lazy("Outstanding invoices")

    buyer = tables.Column(gettext_lazy("Customer"), accessor="buyer_name")
    days_late = tables.NumberColumn(
        gettext_lazy("Days overdue"), empty_values=(), order_by="-due_on"
    )
    reminded = tables.NumberColumn(gettext_lazy("Reminders"))
    reminded_on = tables.DateColumn(gettext_lazy("Last reminder"))
    remind = tables.Column(
        gettext_lazy("Action"),
        empty_values=(),
        orderable=False,
        exclude_from_export=True,
    )

    class Meta(InvoiceTable.Meta):
        exclude = ["issued_on", "job", "status", "gross"]
        sequence = [
            *("number", "buyer", "due_on", "days_late", "owed"),
            *("reminded", "reminded_on", "remind"),
        ]
        empty_text = gettext_lazy("No outstanding invoices.")

    def render_days_late(self, record):
        return record.days_late(self.on) or gettext("not due")

    def render_remind(self, record):
        if not record.days_late(self.on):
            return ""
        return format_html(
            '<a href="{}">Send reminder<span class="unseen"> for {}</span></a>',
            reverse("reminders:remind", args=[record.pk]),
            record.full_number,
        )
