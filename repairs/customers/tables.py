from django.urls import reverse

from shopdesk.look import tables
from shopdesk.look.shop_formats import phone


class PhoneColumn(tables.Column):
    look = "day"

    def render(self, value, table):
        return phone(value, table.shop)


class CustomerTable(tables.ListTable):
    caption = "Customers"

    name = tables.Column(linkify=True)
    company = tables.Column()
    phone = PhoneColumn(orderable=False)
    email = tables.Column()
    last_visit = tables.DateColumn(verbose_name="Last visit")

    class Meta(tables.ListTable.Meta):
        empty_text = "No customers found."


class DeviceTable(tables.ListTable):
    caption = "Devices"

    device = tables.Column(
        accessor="model",
        verbose_name="Device",
        linkify=lambda record: record.get_absolute_url(),
        order_by=("model__maker", "model__model"),
    )
    kind = tables.Column(accessor="model__kind")
    serial = tables.CodeColumn()
    last_visit = tables.DateColumn(verbose_name="Last visit")

    class Meta(tables.ListTable.Meta):
        prefix = "d-"
        per_page = 20
        empty_text = "No devices."


class JobTable(tables.ListTable):
    caption = "Jobs"

    number = tables.CodeColumn(linkify=True)
    device = tables.Column(
        accessor="device__model", verbose_name="Device", orderable=False
    )
    complaint = tables.Column(verbose_name="Complaint", orderable=False)
    state = tables.BadgeColumn(
        accessor="get_state_display", order_by="state", verbose_name="Status"
    )
    booked_in_on = tables.DateColumn(verbose_name="Booked in")
    handed_over_on = tables.DateColumn(verbose_name="Handed over")

    class Meta(tables.ListTable.Meta):
        prefix = "j-"
        per_page = 20
        empty_text = "No jobs."

    def render_complaint(self, value):
        return value if len(value) < 70 else f"{value[:67]}…"


class DeviceModelTable(tables.ListTable):
    caption = "Device models"

    model = tables.Column(
        accessor="pk",
        verbose_name="Model",
        linkify=lambda record: reverse("customers:change_model", args=[record.pk]),
        order_by=("maker", "model"),
    )
    kind = tables.Column()
    family = tables.Column(default="")
    device_count = tables.NumberColumn(verbose_name="Devices")

    class Meta(tables.ListTable.Meta):
        empty_text = "No models yet."

    def render_model(self, record):
        return str(record)
