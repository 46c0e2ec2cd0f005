from django.utils.translation import gettext_lazy

from shopdesk.look import tables


class StaffTable(tables.ListTable):
    caption = gettext_lazy("Staff")

    name = tables.Column(linkify=True)
    username = tables.CodeColumn(verbose_name=gettext_lazy("Sign-in name"))
    role = tables.Column(accessor="get_role_display", order_by="role")
    may = tables.BadgeColumn(
        accessor="status", verbose_name=gettext_lazy("Status"), order_by="is_active"
    )
    last_login = tables.MomentColumn(verbose_name=gettext_lazy("Last sign-in"))

    class Meta(tables.ListTable.Meta):
        empty_text = gettext_lazy("No staff yet.")
