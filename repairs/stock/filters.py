import django_filters
from django import forms


class EntryFilter(django_filters.FilterSet):
    """A list by text and by status; without a status, entries in use."""

    q = django_filters.CharFilter(
        label="Search",
        method="by_text",
        max_length=200,
        widget=forms.TextInput({"class": "w20"}),
    )

    def by_text(self, entries, name, value):
        return entries.containing(value)

    def by_status(self, entries, name, value):
        return entries.filter(is_retired=True) if value == "retired" else entries

    def filter_queryset(self, queryset):
        entries = super().filter_queryset(queryset)
        show = self.form.cleaned_data.get("show")
        return entries if show else entries.filter(is_retired=False)


def status_filter(*more):
    return django_filters.ChoiceFilter(
        label="Show",
        method="by_status",
        empty_label="in use",
        choices=[*more, ("retired", "retired"), ("every", "all")],
    )


class PartFilter(EntryFilter):
    show = status_filter(("none", "out of stock"), ("no_cost", "cost missing"))

    def by_status(self, parts, name, value):
        if value == "none":
            return parts.filter(is_retired=False, on_hand=0)
        if value == "no_cost":
            return parts.without_cost()
        return super().by_status(parts, name, value)
