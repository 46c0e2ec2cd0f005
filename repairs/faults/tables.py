from shopdesk.look import tables


def status_column():
    return tables.BadgeColumn(verbose_name="Status", order_by="is_retired", default="")


class FaultTable(tables.ListTable):
    caption = "Faults"

    code = tables.CodeColumn(linkify=True)
    name = tables.Column()
    area = tables.Column(default="")
    part = tables.Column(default="")
    mode = tables.Column(default="")
    fix_count = tables.NumberColumn(verbose_name="Fixes")
    status = status_column()

    class Meta(tables.ListTable.Meta):
        empty_text = "No faults found."


class FaultJobTable(tables.ListTable):
    caption = "Jobs with this fault"

    job = tables.CodeColumn(linkify=True, orderable=False)
    device = tables.Column(
        accessor="job__device__model", verbose_name="Device", orderable=False
    )
    booked_in = tables.DateColumn(
        accessor="job__booked_in_on", verbose_name="Booked in", orderable=False
    )
    fix = tables.CodeColumn(
        accessor="fix__code", verbose_name="Fix", orderable=False, default=""
    )
    outcome = tables.BadgeColumn(
        accessor="get_outcome_display", orderable=False, default=""
    )

    class Meta(tables.ListTable.Meta):
        per_page = 20
        empty_text = "No jobs."


class SymptomTable(tables.ListTable):
    caption = "Symptoms"

    name = tables.Column(linkify=True)
    status = status_column()

    class Meta(tables.ListTable.Meta):
        empty_text = "No symptoms yet."


class CheckTable(tables.ListTable):
    caption = "Bench checks"

    name = tables.Column(linkify=True)
    where = tables.Column(default="")
    minutes = tables.MinutesColumn()
    results = tables.Column(default="", orderable=False)
    status = status_column()

    class Meta(tables.ListTable.Meta):
        empty_text = "No checks yet."
