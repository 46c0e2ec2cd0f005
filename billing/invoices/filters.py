import django_filters
from django.utils import timezone

from billing.invoices.models import Invoice


class InvoiceFilter(django_filters.FilterSet):
    standing = django_filters.ChoiceFilter(
        label="Where it stands",
        choices=[
            ("open", "open"),
            ("overdue", "overdue"),
            ("paid", "paid"),
            ("credited", "credited"),
            ("notes", "credit notes"),
        ],
        method="by_standing",
        empty_label="all",
    )

    class Meta:
        model = Invoice
        fields = ["standing"]

    def by_standing(self, queryset, name, value):
        if value == "open":
            return queryset.unsettled()
        if value == "overdue":
            return queryset.overdue(timezone.localdate())
        if value == "paid":
            return queryset.settled().filter(credit_notes=None)
        if value == "credited":
            return queryset.filter(credit_notes__isnull=False)
        return queryset.filter(kind=Invoice.Kind.CREDIT_NOTE)
