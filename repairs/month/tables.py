"""The lists of deliveries, models and board revisions."""

from django.utils.html import format_html

from repairs.comebacks.drilldown import COMEBACK
from repairs.comebacks.output import NO_REPAIRS
from repairs.comebacks.tables import stacked
from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.formats import format_share


class GroupTable(tables.ListTable):
    """Most important first unless sorted otherwise."""

    row_header = "name"

    name = tables.Column()
    verdict = tables.Column()
    repairs = tables.NumberColumn()
    comebacks = tables.NumberColumn()
    expected = tables.NumberColumn()
    ratio = tables.NumberColumn(verbose_name="Ratio, 90 % range")
    probability = tables.NumberColumn(verbose_name="Probability of more than double")

    class Meta(tables.ListTable.Meta):
        row_attrs = {"class": lambda record: "hot" if record.is_bad else ""}

    def __init__(self, *args, scope, **kwargs):
        self.scope = scope
        super().__init__(*args, **kwargs)

    def render_name(self, record):
        return format_html('<a href="{}">{}</a>', record.url(self.scope), record.name)

    def render_repairs(self, record, value):
        return self._link(record, value, "repairs")

    def render_comebacks(self, record, value):
        return self._link(record, value, "comebacks", result=COMEBACK)

    def _link(self, record, number, what, **params):
        return format_html(
            '<a href="{}">{}<span class="unseen"> {} of {}</span></a>',
            record.url(self.scope, **params),
            number,
            what,
            record.name,
        )

    def render_verdict(self, value):
        return badge(value)

    def render_expected(self, value):
        return f"{value:.1f}"

    def render_ratio(self, record):
        return stacked(f"{record.ratio:.1f}", f"{record.low:.1f}–{record.high:.1f}")

    def render_probability(self, value):
        return format_share(value)


class DeliveryTable(GroupTable):
    caption = "Deliveries of parts"

    name = tables.Column(verbose_name="Delivery (lot, part)")
    supplier = tables.Column()
    received = tables.DateColumn()

    class Meta(GroupTable.Meta):
        prefix = "d-"
        sequence = ("name", "verdict", "supplier", "received", "...")
        empty_text = "No repairs used a part of a delivery with a lot or a supplier."


class ModelTable(GroupTable):
    caption = "Models"

    class Meta(GroupTable.Meta):
        prefix = "m-"
        empty_text = NO_REPAIRS


class BoardTable(GroupTable):
    caption = "Board revisions"

    name = tables.Column(verbose_name="Model and revision")

    class Meta(GroupTable.Meta):
        prefix = "b-"
        empty_text = "No repairs on devices with a known board revision."
