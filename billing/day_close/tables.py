from django.utils.translation import gettext_lazy

from billing.invoices.models import DayClose
from shopdesk.look import tables


class DayCloseTable(tables.ListTable):
    caption = gettext_lazy("Closed days")
    row_header = "day"

    day = tables.DateColumn(gettext_lazy("Day"), linkify=True)
    cash = tables.OwnCurrencyColumn(gettext_lazy("Cash taken"))
    counted = tables.OwnCurrencyColumn(gettext_lazy("Counted"))
    difference = tables.OwnCurrencyColumn(gettext_lazy("Difference"), orderable=False)
    why = tables.Column(gettext_lazy("Reason"), orderable=False)
    cash_removed = tables.OwnCurrencyColumn(gettext_lazy("Cash removed"))
    closed_at = tables.MomentColumn(gettext_lazy("Closed"))
    closed_by = tables.Column(gettext_lazy("Closed by"), orderable=False)

    class Meta(tables.ListTable.Meta):
        model = DayClose
        fields = []
        empty_text = gettext_lazy("No closed days.")
