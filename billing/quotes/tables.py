from django.utils.translation import gettext, gettext_lazy

from billing.quotes.models import Quote
from shopdesk.look import tables
from shopdesk.look.badges import badge
from shopdesk.look.shop_formats import money


class QuoteTable(tables.ListTable):
    caption = gettext_lazy("Quotes")
    row_header = "number"

    number = tables.CodeColumn(
        gettext_lazy("Job"),
        accessor="job__number",
        linkify=lambda record: record.get_absolute_url(),
    )
    version = tables.NumberColumn(gettext_lazy("Version"))
    customer = tables.Column(
        gettext_lazy("Customer"),
        accessor="job__customer",
        order_by="job__customer__name",
    )
    device = tables.Column(
        gettext_lazy("Device"), accessor="job__device__model", orderable=False
    )
    state = tables.Column(gettext_lazy("Status"), order_by="state")
    valid_until = tables.DateColumn(gettext_lazy("Valid until"))
    price = tables.OwnCurrencyColumn(
        gettext_lazy("Price"), empty_values=(), orderable=False
    )
    below = tables.OwnCurrencyColumn(
        gettext_lazy("Below suggestion"), empty_values=(), orderable=False
    )

    class Meta(tables.ListTable.Meta):
        model = Quote
        fields = []
        empty_text = gettext_lazy("No quotes found.")

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_state(self, record):
        return badge(record.status(self.on))

    def render_price(self, record):
        """Return the total of the accepted option, else the lowest total."""
        prices = _prices(record)
        if not prices:
            return ""
        lowest = money(min(prices), record.written_in(self.shop))
        return (
            gettext("from {lowest}").format(lowest=lowest)
            if len(prices) > 1
            else lowest
        )

    def value_price(self, record):
        return min(_prices(record), default=None)

    def render_below(self, record):
        """Return how far the price is below the suggestion.

        Of the accepted option, else of the one furthest below.
        """
        below = self.value_below(record)
        return money(below, record.written_in(self.shop)) if below else ""

    def value_below(self, record):
        above = [option.above_suggestion() or 0 for option in _offered(record)]
        least = min(above, default=0)
        return -least if least < 0 else None


def _offered(quote):
    """Return the accepted option of a quote, else all."""
    return [
        option
        for option in quote.options.all()
        if quote.accepted_option_id in (None, option.pk)
    ]


def _prices(quote) -> set:
    return {option.totals().gross for option in _offered(quote)}
