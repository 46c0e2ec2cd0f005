import django_filters

from repairs.customers.fields import NormalizedCharField


class TextFilter(django_filters.Filter):
    field_class = NormalizedCharField

    def filter(self, records, query):
        return records.containing(query) if query else records


class CustomerFilter(django_filters.FilterSet):
    q = TextFilter(
        label="Name, phone, email or company",
        max_length=200,
        attrs={"type": "search", "class": "w20"},
    )
