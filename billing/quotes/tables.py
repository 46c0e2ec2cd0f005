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
    state = tables.Column("Where it stands", order_by="state")
    valid_until = tables.DateColumn("Holds until")
    asked = tables.NumberColumn("Asked", empty_values=(), orderable=False)

    below = tables.NumberColumn("Below suggested", empty_values=(), orderable=False)

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
        empty_text = "No quotes here."

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def render_state(self, record):
        return mark(record.standing(self.on))

    def render_asked(self, record):
        """The total of the option said yes to; else the least that is asked."""
        written_in = record.written_in(self.shop)
        options = list(record.options.all())
        sums = {o.pk: o.totals(places=written_in.places).gross for o in options}
        if not sums:
            return ""
        if record.chosen_id:
            return money(sums[record.chosen_id], written_in)
        least = money(min(sums.values()), written_in)
        return f"from {least}" if len(set(sums.values())) > 1 else least

    def render_below(self, record):
        """What is asked less than was suggested: of the option said yes to, else of
        the one that loses most.
        """
        options = [
            option
            for option in record.options.all()
            if record.chosen_id in (None, option.pk)
        ]
        above = [option.above_suggested() or 0 for option in options]
        least = min(above, default=0)
        return money(-least, record.written_in(self.shop)) if least < 0 else ""
