from django.utils import timezone
from django_tables2 import TemplateColumn

from shopdesk.look import tables


def is_late(record):
    return record.due_on is not None and record.due_on < timezone.localdate()


class BenchTable(tables.ListTable):
    caption = "Jobs at the bench"

    number = tables.CodeColumn(linkify=True, verbose_name="Job")
    state = tables.BadgeColumn(accessor="get_state_display", order_by="state")
    device = tables.Column(
        accessor="device", order_by=("device__model__maker", "device__model__model")
    )
    complaint = TemplateColumn("{{ value|truncatechars:70 }}", verbose_name="Complaint")
    is_return = TemplateColumn(
        '{% load desk %}{% if value %}{% badge "return" %}{% endif %}',
        verbose_name="Return",
    )
    waiting_for = TemplateColumn("{% if record.waiting_for %}{{ value }}{% endif %}")
    due_on = tables.DateColumn(verbose_name="Due date")
    timer = TemplateColumn(
        template_name="repairs/bench/_timer_cell.html",
        accessor="timer_since",
        verbose_name="Timer",
    )

    class Meta(tables.ListTable.Meta):
        empty_text = "No jobs found."
        row_attrs = {"class": lambda record: "hot" if is_late(record) else ""}
