from billing.quotes.models import Quote
from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import money


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
    price = tables.NumberColumn("Price", empty_values=(), orderable=False)
    below = tables.NumberColumn("Below suggestion", empty_values=(), orderable=False)

    class Meta(tables.ListTable.Meta):
        model = Quote
        fields = []
        empty_text = "No quotes found."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_state(self, record):
        return badge(record.status(self.on))

    def render_price(self, record):
        """Return the total of the accepted option, else the lowest total."""
        written_in = record.written_in(self.shop)
        options = list(record.options.all())
        if record.accepted_option_id:
            options = [one for one in options if one.pk == record.accepted_option_id]
        prices = {option.totals().gross for option in options}
        if not prices:
            return ""
        lowest = money(min(prices), written_in)
        return f"from {lowest}" if len(prices) > 1 else lowest

    def render_below(self, record):
        """Return how far the price is below the suggestion.

        Of the accepted option, else of the one furthest below.
        """
        options = [
            option
            for option in record.options.all()
            if record.accepted_option_id in (None, option.pk)
        ]
        above = [option.above_suggestion() or 0 for option in options]
        least = min(above, default=0)
        return money(-least, record.written_in(self.shop)) if least < 0 else ""
