import django_filters

from repairs.faults.models import Fault
from repairs.stock.filters import EntryFilter, status_filter


class FaultFilter(EntryFilter):
    area = django_filters.ChoiceFilter(
        choices=lambda: [(area, area) for area in Fault.objects.areas()],
        empty_label="any",
    )
    show = status_filter()
