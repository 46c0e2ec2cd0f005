from shopdesk.look import tables


class PartTable(tables.ListTable):
    caption = "Parts"

    number = tables.CodeColumn(linkify=True)
    name = tables.Column()
    value = tables.CodeColumn(default="")
    bin = tables.CodeColumn(default="")
    status = tables.BadgeColumn(orderable=False, verbose_name="Status", default="")
    on_hand = tables.NumberColumn(verbose_name="In stock")
    reserved = tables.NumberColumn(verbose_name="Reserved", orderable=False)
    free = tables.NumberColumn(verbose_name="Free", orderable=False)
    open_deliveries = tables.NumberColumn(verbose_name="Open deliveries")

    class Meta(tables.ListTable.Meta):
        empty_text = "No parts found."
        row_attrs = {
            "class": lambda record: "hot" if record.status == "out of stock" else ""
        }


class SupplierTable(tables.ListTable):
    caption = "Suppliers"

    name = tables.Column(linkify=True)
    contact = tables.Column(default="")
    phone = tables.Column(default="")
    part_count = tables.NumberColumn(verbose_name="Parts")
    delivery_count = tables.NumberColumn(verbose_name="Deliveries")
    order_count = tables.NumberColumn(verbose_name="Open orders")

    class Meta(tables.ListTable.Meta):
        empty_text = "No suppliers yet."


class SupplierPartTable(tables.ListTable):
    caption = "Parts"

    number = tables.CodeColumn(linkify=True)
    name = tables.Column()
    supplier_number = tables.CodeColumn(default="", verbose_name="Supplier’s number")
    status = tables.BadgeColumn(orderable=False, default="")
    on_hand = tables.NumberColumn(verbose_name="In stock")

    class Meta(tables.ListTable.Meta):
        prefix = "p-"
        per_page = 20
        empty_text = "No parts."


class SupplierDeliveryTable(tables.ListTable):
    caption = "Deliveries"
    row_header = "lot"

    lot = tables.CodeColumn(default="none")
    part = tables.Column(linkify=True)
    received_on = tables.DateColumn(verbose_name="Received")
    status = tables.BadgeColumn(orderable=False, default="")
    quantity = tables.NumberColumn()
    remaining = tables.NumberColumn()

    class Meta(tables.ListTable.Meta):
        prefix = "d-"
        per_page = 20
        empty_text = "No deliveries."


class MovementTable(tables.ListTable):
    caption = "Stock movements"
    row_header = "moved_at"

    moved_at = tables.MomentColumn(verbose_name="When", order_by="id")
    kind = tables.Column(
        accessor="get_kind_display", verbose_name="Type", order_by="kind"
    )
    delivery = tables.Column(orderable=False, default="")
    reason = tables.Column(orderable=False, default="", verbose_name="Reason")
    by = tables.Column(orderable=False, default="", verbose_name="User")
    quantity = tables.NumberColumn(verbose_name="Quantity")

    class Meta(tables.ListTable.Meta):
        prefix = "m-"
        per_page = 20
        orderable = True
        empty_text = "No movements."

    def render_quantity(self, value):
        return f"{value:+d}"


class UseTable(tables.ListTable):
    caption = "Used in jobs"

    job = tables.CodeColumn(accessor="repair__job", linkify=True, orderable=False)
    device = tables.Column(
        accessor="repair__job__device__model", verbose_name="Device", orderable=False
    )
    day = tables.DateColumn(
        accessor="repair__job__booked_in_on", verbose_name="Booked in"
    )
    quantity = tables.NumberColumn(verbose_name="Quantity", orderable=False)

    class Meta(tables.ListTable.Meta):
        prefix = "u-"
        per_page = 20
        empty_text = "Not used yet."
