from shopdesk.look import tables


class StaffTable(tables.ListTable):
    caption = "Staff"

    name = tables.Column(linkify=True)
    username = tables.CodeColumn(verbose_name="Sign-in name")
    role = tables.Column(accessor="get_role_display", order_by="role")
    may = tables.BadgeColumn(
        accessor="status", verbose_name="Status", order_by="is_active"
    )
    last_login = tables.MomentColumn(verbose_name="Last sign-in")

    class Meta(tables.ListTable.Meta):
        empty_text = "No staff yet."
