from shopdesk.look import tables


class StaffTable(tables.ListTable):
    caption = "Staff"

    name = tables.Column(linkify=True)
    username = tables.CodeColumn(verbose_name="Sign-in name")
    kind = tables.Column(accessor="get_kind_display", order_by="kind")
    may = tables.BadgeColumn(
        accessor="standing", verbose_name="Sign-in", order_by="is_active"
    )
    last_login = tables.MomentColumn(verbose_name="Last in")

    class Meta(tables.ListTable.Meta):
        empty_text = "Nobody works here yet."
