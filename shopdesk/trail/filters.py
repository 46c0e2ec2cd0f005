from datetime import datetime, time, timedelta

import django_filters
from django import forms
from django.apps import apps
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy, pgettext_lazy

from shopdesk.fields import DayFormField
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.recorded import Recorded
from shopdesk.staff.models import User

MOST = 200
"""Records of a kind whose entries are searched for one text."""


def recorded_models() -> list[type[Recorded]]:
    """Return the models whose changes are in the trail, by the name of the kind."""
    models = [model for model in apps.get_models() if issubclass(model, Recorded)]
    return sorted(models, key=lambda model: str(model._meta.verbose_name))


def kind_choices() -> list[tuple[str, str]]:
    return [(m._meta.label_lower, m._meta.verbose_name) for m in recorded_models()]


class DayFilter(django_filters.Filter):
    field_class = DayFormField


class TrailFilter(django_filters.FilterSet):
    since = DayFilter(label=gettext_lazy("From"), method="from_day")
    until = DayFilter(label=pgettext_lazy("the last day", "To"), method="to_day")
    by = django_filters.ModelChoiceFilter(
        label=gettext_lazy("Person"),
        queryset=User.objects.all(),
        empty_label=gettext_lazy("anyone"),
    )
    kind = django_filters.ChoiceFilter(
        label=gettext_lazy("Kind of record"),
        choices=kind_choices,
        empty_label=gettext_lazy("all"),
    )
    action = django_filters.ChoiceFilter(
        label=gettext_lazy("Action"),
        choices=Action.choices,
        empty_label=gettext_lazy("all"),
    )
    q = django_filters.CharFilter(
        label=gettext_lazy("Name or number of a record"),
        method="by_record",
        max_length=200,
        widget=forms.TextInput(attrs={"type": "search", "class": "w20"}),
    )

    class Meta:
        model = TrailEntry
        fields = ["since", "until", "by", "kind", "action", "q"]

    def from_day(self, entries, name, day):
        return entries.filter(at__gte=_midnight(day))

    def to_day(self, entries, name, day):
        return entries.filter(at__lt=_midnight(day + timedelta(days=1)))

    def by_record(self, entries, name, text):
        """Keep entries about records that the text may mean, or that belong to them."""
        about = Q(pk__in=[])
        for model in recorded_models():
            pks = list(_matching(model, text)[:MOST])
            kind = model._meta.label_lower
            about |= Q(kind=kind, record__in=pks)
            about |= Q(parent_kind=kind, parent__in=pks)
        return entries.filter(about)


def _matching(model: type[Recorded], text: str):
    """Return the ids of the model's records that the text may mean."""
    rows = model.objects.all()
    if hasattr(rows, "search"):
        return rows.search(text).values_list("pk", flat=True)
    if any(field.name == "name" for field in model._meta.fields):
        return rows.filter(name__icontains=text).values_list("pk", flat=True)
    return rows.none().values_list("pk", flat=True)


def _midnight(day):
    return timezone.make_aware(datetime.combine(day, time.min))
