from shopdesk.look import tables


class CaseTable(tables.ListTable):
    caption = "Past jobs"

    number = tables.CodeColumn(
        accessor="job__number",
        verbose_name="Job",
        linkify=lambda record: record.job.get_absolute_url(),
    )
    model = tables.Column(verbose_name="Device", order_by=("model__model",))
    complaint = tables.WordsColumn(accessor="job__complaint", orderable=False)
    fault = tables.CodeColumn(accessor="fault__code", verbose_name="Fault")
    fix = tables.Column(
        accessor="fix_name", verbose_name="Fix", default="", orderable=False
    )
    closed_on = tables.DateColumn(verbose_name="Closed")

    class Meta(tables.ListTable.Meta):
        per_page = 50
        empty_text = "No such jobs."

    def render_complaint(self, value):
        return value if len(value) < 90 else f"{value[:87]}…"
