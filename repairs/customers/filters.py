import django_filters

from repairs.customers.fields import NormalizedCharField
from repairs.customers.models import Customer


class WordsFilter(django_filters.Filter):
    field_class = NormalizedCharField

    def filter(self, found, words):
        return found.called(words) if words else found


class CustomerFilter(django_filters.FilterSet):
    who = WordsFilter(
        label="Name, phone, email or company",
        max_length=200,
        attrs={"type": "search", "class": "w20"},
    )

    class Meta:
        model = Customer
        fields = []
