from django.template.loader import render_to_string

from billing.quotes.models import Link
from shopdesk.look import tables
from shopdesk.templatetags.desk import mark


class LinkTable(tables.ListTable):
    caption = "Links of this job"

    made_at = tables.MomentColumn("Made")
    made_by = tables.Column("By")
    standing = tables.Column("Now", empty_values=())
    works_until = tables.DateColumn("Works until")
    views = tables.NumberColumn("Opened")
    viewed_at = tables.MomentColumn("Last opened")
    revoke = tables.Column("Take back", accessor="pk")

    class Meta(tables.ListTable.Meta):
        model = Link
        fields = []
        sequence = [
            "made_at",
            "made_by",
            "standing",
            "works_until",
            "views",
            "viewed_at",
            "revoke",
        ]
        empty_text = "No link was made yet."

    def __init__(self, *args, on, request, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on
        self.asked = request

    def render_standing(self, record):
        return mark(record.standing(self.on))

    def render_revoke(self, record):
        """A button for what still works."""
        if record.standing(self.on) != "works":
            return ""
        return render_to_string(
            "billing/customer_page/_revoke.html", {"link": record}, request=self.asked
        )
