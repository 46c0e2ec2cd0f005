import django_filters
from django import forms

from repairs.stock.models import Part


class ShelfFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(
        label="Words or a value",
        method="by_words",
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20", "placeholder": "4k7 0402"}),
    )
    show = django_filters.ChoiceFilter(
        label="Which",
        method="by_standing",
        empty_label="all in use",
        choices=[("none", "none left"), ("retired", "retired"), ("every", "every one")],
    )

    class Meta:
        model = Part
        fields = []

    def by_words(self, parts, name, words):
        return parts.called(words)

    def by_standing(self, parts, name, which):
        if which == "none":
            return parts.filter(is_retired=False, on_hand=0)
        return parts.filter(is_retired=True) if which == "retired" else parts

    def filter_queryset(self, queryset):
        found = super().filter_queryset(queryset)
        if not self.form.cleaned_data.get("show"):
            found = found.filter(is_retired=False)
        return found
