from django.template.loader import render_to_string
from django.utils.translation import gettext_lazy

from shopdesk.api.models import ApiToken
from shopdesk.look import tables
from shopdesk.look.badges import badge


class ApiTokenTable(tables.ListTable):
    caption = gettext_lazy("API tokens")

    name = tables.Column()
    status = tables.Column(empty_values=(), orderable=False)
    scope = tables.Column("Also shows", accessor="scope_text", orderable=False)
    works_until = tables.MomentColumn("Valid until")
    last_used_at = tables.MomentColumn("Last used", default="never")
    created_by = tables.Column("Created by")
    created_at = tables.MomentColumn("Created")
    revoke = tables.Column(
        "Revoke", accessor="pk", orderable=False, exclude_from_export=True
    )

    class Meta(tables.ListTable.Meta):
        model = ApiToken
        fields = []
        empty_text = gettext_lazy("No tokens yet.")

    def __init__(self, *args, at, request, **kwargs):
        super().__init__(*args, **kwargs)
        self.at = at
        self.request = request

    def render_status(self, record):
        return badge(record.status(self.at))

    def render_revoke(self, record):
        """Return a button until the token has ended."""
        if record.status(self.at) in ("revoked", "expired"):
            return ""
        return render_to_string(
            "shopdesk/api/_revoke.html", {"token": record}, request=self.request
        )
