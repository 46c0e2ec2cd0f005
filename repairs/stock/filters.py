import django_filters
from django import forms

from repairs.stock.models import Part


class EntryFilter(django_filters.FilterSet):
    """A list by words and by status; retired entries only if asked for."""

    q = django_filters.CharFilter(
        label="Search",
        method="by_words",
        max_length=200,
        widget=forms.TextInput({"class": "w20"}),
    )

    def by_words(self, entries, name, value):
        return entries.called(value)

    def by_status(self, entries, name, value):
        return entries.filter(is_retired=True) if value == "retired" else entries

    def filter_queryset(self, queryset):
        entries = super().filter_queryset(queryset)
        is_asked = self.form.cleaned_data.get("show")
        return entries if is_asked else entries.filter(is_retired=False)


def status_filter(*more):
    return django_filters.ChoiceFilter(
        label="Show",
        method="by_status",
        empty_label="in use",
        choices=[*more, ("retired", "retired"), ("every", "all")],
    )


class ShelfFilter(EntryFilter):
    show = status_filter(("none", "out of stock"))

    class Meta:
        model = Part
        fields = []

    def by_status(self, parts, name, value):
        if value == "none":
            return parts.filter(is_retired=False, on_hand=0)
        return super().by_status(parts, name, value)
