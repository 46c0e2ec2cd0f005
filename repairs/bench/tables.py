from django.utils import timezone
from django.utils.html import format_html
from django.utils.text import Truncator

from repairs.bench import queue
from repairs.bench.next_step import IN_A_LIST
from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import day, moment


class BenchTable(tables.ListTable):
    caption = "Jobs at the bench"

    number = tables.CodeColumn(linkify=True, verbose_name="Job")
    state = tables.BadgeColumn(
        accessor="get_state_display", order_by="state", verbose_name="Status"
    )
    device = tables.Column(
        accessor="device", order_by=("device__model__maker", "device__model__model")
    )
    customer = tables.Column(order_by="customer__name")
    complaint = tables.Column(verbose_name="Complaint", default="")
    return_is = tables.Column(verbose_name="Return", default="")
    step = tables.Column(empty_values=(), orderable=False, verbose_name="Next step")
    technician = tables.Column(
        empty_values=(), order_by="assigned_to__name", verbose_name="Technician"
    )
    place = tables.CodeColumn()
    waiting_for = tables.Column()
    due_on = tables.DateColumn(verbose_name="Due date")

    class Meta(tables.ListTable.Meta):
        empty_text = "No jobs found."
        row_attrs = {
            "class": lambda record: (
                "hot" if queue.is_overdue(record, on=timezone.localdate()) else ""
            )
        }

    def render_complaint(self, value):
        return Truncator(value).chars(70)

    def render_return_is(self, value):
        return badge("return")

    def render_step(self, record):
        return IN_A_LIST.get(queue.step_of(record).control, "wait")

    def render_technician(self, record):
        name = record.timer_by or queue.technician_of(record)
        if not record.timer_since:
            return name
        return format_html(
            '{} <span data-since="{}">since {}</span>',
            name,
            record.timer_since.isoformat(),
            moment(record.timer_since),
        )

    def render_waiting_for(self, value, record):
        if not record.waiting_for:
            return ""
        note = f": {record.waiting_note}" if record.waiting_note else ""
        since = f", since {day(record.waiting_since)}" if record.waiting_since else ""
        return f"{value}{note}{since}"


class FinishedTable(tables.ListTable):
    caption = "Finished jobs"

    number = tables.CodeColumn(linkify=True, verbose_name="Job")
    closed_at = tables.MomentColumn(verbose_name="Closed", default="")
    closed_by = tables.Column(verbose_name="By", default="")
    device = tables.Column(
        accessor="device", order_by=("device__model__maker", "device__model__model")
    )
    customer = tables.Column(order_by="customer__name")
    outcome = tables.BadgeColumn(
        accessor="get_outcome_display", order_by="outcome", verbose_name="Outcome"
    )
    handed_over_on = tables.DateColumn(verbose_name="Handed over", default="not yet")

    class Meta(tables.ListTable.Meta):
        empty_text = "No job was finished on this day."
        order_by = "-closed_at"
