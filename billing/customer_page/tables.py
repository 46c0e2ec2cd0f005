from django.template.loader import render_to_string

from billing.quotes.models import Link
from shopdesk.look import tables
from shopdesk.look.badges import badge


class LinkTable(tables.ListTable):
    caption = "Links of this job"

    made_at = tables.MomentColumn("Created")
    made_by = tables.Column("Created by")
    status = tables.Column("Status", empty_values=())
    works_until = tables.DateColumn("Valid until")
    views = tables.NumberColumn("Visits")
    viewed_at = tables.MomentColumn("Last visit")
    revoke = tables.Column("Revoke", accessor="pk")

    class Meta(tables.ListTable.Meta):
        model = Link
        fields = []
        empty_text = "No links yet."

    def __init__(self, *args, on, request, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on
        self.request = request

    def render_status(self, record):
        return badge(record.status(self.on))

    def render_revoke(self, record):
        """Return a button while the link is valid."""
        if record.status(self.on) != "valid":
            return ""
        return render_to_string(
            "billing/customer_page/_revoke.html", {"link": record}, request=self.request
        )
