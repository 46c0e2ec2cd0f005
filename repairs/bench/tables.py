from django.utils import timezone
from django.utils.html import format_html
from django.utils.text import Truncator

from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import moment


def is_late(record):
    return record.due_on is not None and record.due_on < timezone.localdate()


class BenchTable(tables.ListTable):
    caption = "Jobs at the bench"

    number = tables.CodeColumn(linkify=True, verbose_name="Job")
    state = tables.BadgeColumn(
        accessor="get_state_display", order_by="state", verbose_name="Status"
    )
    device = tables.Column(
        accessor="device", order_by=("device__model__maker", "device__model__model")
    )
    complaint = tables.Column(verbose_name="Complaint", default="")
    is_return = tables.Column(verbose_name="Return")
    waiting_for = tables.Column()
    due_on = tables.DateColumn(verbose_name="Due date")
    timer = tables.Column(accessor="timer_since", verbose_name="Timer", default="")

    class Meta(tables.ListTable.Meta):
        empty_text = "No jobs found."
        row_attrs = {"class": lambda record: "hot" if is_late(record) else ""}

    def render_complaint(self, value):
        return Truncator(value).chars(70)

    def render_is_return(self, value):
        return badge("return") if value else ""

    def render_waiting_for(self, value, record):
        return value if record.waiting_for else ""

    def render_timer(self, value, record):
        return format_html(
            '{} <span data-since="{}">since {}</span>',
            record.timer_by,
            value.isoformat(),
            moment(value),
        )
