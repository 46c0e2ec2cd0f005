import django_filters
from django import forms
from django.utils.translation import gettext_lazy

from billing.quotes.models import Quote

STATUSES = [
    ("draft", gettext_lazy("draft")),
    ("waiting", gettext_lazy("waiting for an answer")),
    ("expired", gettext_lazy("expired")),
    ("answered", gettext_lazy("answered")),
    ("all", gettext_lazy("all, including replaced")),
]


class QuoteFilter(django_filters.FilterSet):
    """Replaced versions are left out unless all are selected."""

    status = django_filters.ChoiceFilter(
        label=gettext_lazy("Status"),
        choices=STATUSES,
        method="by_status",
        empty_label=gettext_lazy("current versions"),
    )

    q = django_filters.CharFilter(
        label=gettext_lazy("Number"),
        method="by_number",
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "class": "w12"}),
    )

    class Meta:
        model = Quote
        fields = ["q", "status"]

    def __init__(self, *args, on, **kwargs):
        super().__init__(*args, **kwargs)
        self.on = on

    def filter_queryset(self, queryset):
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data.get("status") else found.live()

    def by_number(self, queryset, name, number):
        """In the list's own order."""
        found = Quote.objects.search(number).order_by()
        return queryset.filter(pk__in=found.values("pk"))

    def by_status(self, queryset, name, value):
        if value == "draft":
            return queryset.drafts()
        if value == "waiting":
            return queryset.waiting(self.on)
        if value == "expired":
            return queryset.expired(self.on)
        return queryset.answered() if value == "answered" else queryset
