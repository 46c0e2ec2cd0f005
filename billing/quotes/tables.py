from billing.quotes.models import Quote
from shopdesk.look import tables
from shopdesk.templatetags.desk import mark, money


class QuoteTable(tables.ListTable):
    caption = "Quotes"
    row_header = "number"

    number = tables.CodeColumn(
        "Job", accessor="job__number", linkify=lambda record: record.get_absolute_url()
    )
    version = tables.NumberColumn()
    customer = tables.Column(
        "Customer", accessor="job__customer", order_by="job__customer__name"
    )
    device = tables.Column("Device", accessor="job__device__model", orderable=False)
    state = tables.Column("Status", order_by="state")
    valid_until = tables.DateColumn("Valid until")
    asked = tables.NumberColumn("Price", empty_values=(), orderable=False)

    below = tables.NumberColumn("Below suggestion", empty_values=(), orderable=False)

    class Meta(tables.ListTable.Meta):
        model = Quote
        fields = []
        sequence = [
            "number",
            "version",
            "customer",
            "device",
            "state",
            "valid_until",
            "asked",
            "below",
        ]
        empty_text = "No quotes found."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_state(self, record):
        return mark(record.standing(self.on))

    def render_asked(self, record):
        """Return the total of the accepted option, else the lowest total."""
        written_in = record.written_in(self.shop)
        options = list(record.options.all())
        sums = {o.pk: o.totals(places=written_in.places).gross for o in options}
        if not sums:
            return ""
        if record.accepted_option_id:
            return money(sums[record.accepted_option_id], written_in)
        least = money(min(sums.values()), written_in)
        return f"from {least}" if len(set(sums.values())) > 1 else least

    def render_below(self, record):
        """Return how far the price is below the suggestion: of the accepted option,
        else of the one furthest below.
        """
        options = [
            option
            for option in record.options.all()
            if record.accepted_option_id in (None, option.pk)
        ]
        above = [option.above_suggestion() or 0 for option in options]
        least = min(above, default=0)
        return money(-least, record.written_in(self.shop)) if least < 0 else ""
