from django.template.loader import render_to_string
from django.utils.translation import gettext_lazy

from billing.quotes.models import Link
from shopdesk.look import tables
from shopdesk.look.badges import badge


class LinkTable(tables.ListTable):
    caption = gettext_lazy("Links of this job")

    made_at = tables.MomentColumn(gettext_lazy("Created"))
    made_by = tables.Column(gettext_lazy("Created by"))
    status = tables.Column(gettext_lazy("Status"), empty_values=())
    works_until = tables.DateColumn(gettext_lazy("Valid until"))
    views = tables.NumberColumn(gettext_lazy("Visits"))
    viewed_at = tables.MomentColumn(gettext_lazy("Last visit"))
    revoke = tables.Column(gettext_lazy("Revoke"), accessor="pk")

    class Meta(tables.ListTable.Meta):
        model = Link
        fields = []
        empty_text = gettext_lazy("No links yet.")

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
