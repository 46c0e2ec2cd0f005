import django_filters
from django import forms

from repairs.faults.models import Fault


class BookFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(
        label="Words",
        method="by_words",
        max_length=200,
        widget=forms.TextInput(attrs={"class": "w20"}),
    )
    area = django_filters.ChoiceFilter(
        choices=lambda: [(area, area) for area in Fault.objects.areas()],
        empty_label="any",
    )
    show = django_filters.ChoiceFilter(
        label="Which",
        method="by_standing",
        empty_label="all in use",
        choices=[("retired", "retired"), ("every", "every one")],
    )

    class Meta:
        model = Fault
        fields = []

    def by_words(self, faults, name, words):
        return faults.called(words)

    def by_standing(self, faults, name, which):
        return faults.filter(is_retired=True) if which == "retired" else faults

    def filter_queryset(self, queryset):
        found = super().filter_queryset(queryset)
        if not self.form.cleaned_data.get("show"):
            found = found.filter(is_retired=False)
        return found
