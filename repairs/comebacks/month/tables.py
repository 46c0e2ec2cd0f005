"""The lists of deliveries, models and board revisions."""

from django.utils.html import format_html

from repairs.comebacks.month.named import Named
from repairs.comebacks.tables import stacked
from shopdesk.look import tables
from shopdesk.templatetags.desk import mark


class GroupTable(tables.ListTable):
    """What matters first, until another order is asked for."""

    row_header = "name"

    name = tables.Column()
    word = tables.Column(verbose_name="Verdict")
    repairs = tables.NumberColumn()
    returned = tables.NumberColumn(verbose_name="Came back")
    expected = tables.NumberColumn(verbose_name="Explained")
    ratio = tables.NumberColumn(verbose_name="Times as often, limits")
    over = tables.NumberColumn(verbose_name="Over twice")

    class Meta(tables.ListTable.Meta):
        row_attrs = {"class": lambda record: "hot" if record.is_bad else ""}

    def __init__(self, *args, address_of, **kwargs):
        """`address_of` gives the page of a row's repairs, as of the same day."""
        self.address_of = address_of
        super().__init__(*args, **kwargs)

    def render_name(self, record: Named):
        return format_html('<a href="{}">{}</a>', self.address_of(record), record.name)

    def render_repairs(self, record: Named, value):
        return self._behind(record, value)

    def render_returned(self, record: Named, value):
        return self._behind(record, value, became="comeback")

    def _behind(self, record: Named, number: int, **asked: str):
        """A number that opens the jobs it counts."""
        return format_html(
            '<a href="{}">{}<span class="unseen"> {} of {}</span></a>',
            self.address_of(record, **asked),
            number,
            "comebacks" if asked else "repairs",
            record.name,
        )

    def render_word(self, value):
        return mark(value)

    def render_expected(self, record: Named):
        return record.expected_said

    def render_ratio(self, record: Named):
        return stacked(record.ratio_said, record.limits_said)

    def render_over(self, record: Named):
        return record.over_said


class DeliveryTable(GroupTable):
    caption = "Deliveries of parts"

    name = tables.Column(verbose_name="Lot and part")
    supplier = tables.Column()
    received = tables.DateColumn()

    class Meta(GroupTable.Meta):
        prefix = "d-"
        sequence = ("name", "word", "supplier", "received", "...")
        empty_text = "No repair used a part of a delivery with a lot or a supplier."


class ModelTable(GroupTable):
    caption = "Makers’ models"

    class Meta(GroupTable.Meta):
        prefix = "m-"
        empty_text = "No repair was handed back as fixed by that day."


class BoardTable(GroupTable):
    caption = "Board revisions"

    name = tables.Column(verbose_name="Model and revision")

    class Meta(GroupTable.Meta):
        prefix = "b-"
        empty_text = "No repair was on a device whose board revision is written down."
