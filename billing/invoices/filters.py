import django_filters
from django import forms
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext_lazy

from billing.invoices.models import Invoice


class InvoiceFilter(django_filters.FilterSet):
    status = django_filters.ChoiceFilter(
        label=gettext_lazy("Status"),
        choices=[
            ("open", gettext_lazy("open")),
            ("overdue", gettext_lazy("overdue")),
            ("paid", gettext_lazy("paid")),
            ("credited", gettext_lazy("credited")),
            ("notes", gettext_lazy("credit notes")),
        ],
        method="by_status",
        empty_label=gettext_lazy("all"),
    )

    q = django_filters.CharFilter(
        label=gettext_lazy("Number or name"),
        method="by_query",
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "class": "w20"}),
    )

    class Meta:
        model = Invoice
        fields = ["q", "status"]

    def by_query(self, queryset, name, query):
        """Keep the list's own order.

        The sum in the order prevents SQLite from fetching and sorting all matches with
        their balance: it reads the index of days and calculates only what the page
        shows.
        """
        found = Invoice.objects.search(query).order_by()
        return queryset.alias(key=F("pk") + 0).filter(key__in=found.values("pk"))

    def by_status(self, queryset, name, value):
        if value == "open":
            return queryset.unsettled()
        if value == "overdue":
            return queryset.overdue(timezone.localdate())
        if value == "paid":
            return queryset.settled().filter(credit_notes=None)
        if value == "credited":
            return queryset.filter(credit_notes__isnull=False)
        return queryset.filter(kind=Invoice.Kind.CREDIT_NOTE)
