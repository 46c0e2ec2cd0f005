from django.utils import timezone
from django_tables2 import TemplateColumn

from shopdesk import tables


def is_late(record):
    return record.promised_on is not None and record.promised_on < timezone.localdate()


class BenchTable(tables.DeskTable):
    caption = "Jobs at the bench"

    number = tables.CodeColumn(linkify=True, verbose_name="Job")
    state = tables.MarkColumn(accessor="get_state_display", order_by="state")
    device = tables.Column(
        accessor="device", order_by=("device__model__maker", "device__model__model")
    )
    complaint = TemplateColumn("{{ value|truncatechars:70 }}", verbose_name="Complaint")
    is_return = TemplateColumn(
        '{% load desk %}{% if value %}{% mark "return" %}{% endif %}',
        verbose_name="Was here",
    )
    waiting_on = TemplateColumn("{% if record.waiting_on %}{{ value }}{% endif %}")
    promised_on = tables.DateColumn(verbose_name="Promised")
    timer = TemplateColumn(
        template_name="repairs/bench/_timer_cell.html",
        accessor="timer_since",
        verbose_name="Timer",
    )

    class Meta(tables.DeskTable.Meta):
        empty_text = "No such job at the bench."
        row_attrs = {"class": lambda record: "hot" if is_late(record) else ""}
