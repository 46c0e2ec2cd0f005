import django_filters
from django import forms
from django.db.models import Q

from repairs.bench.queries import worked_on_by
from repairs.jobs import states
from repairs.jobs.models import Job

AT_THE_BENCH, ALL_OPEN = "bench", "open"
WHERE = [
    (AT_THE_BENCH, "at the bench"),
    (ALL_OPEN, "all open"),
    *((s, label) for s, label in states.CHOICES if s in states.OPEN),
]


class BenchFilter(django_filters.FilterSet):
    where = django_filters.ChoiceFilter(
        label="Status", choices=WHERE, method="in_state", empty_label=None
    )
    waiting_for = django_filters.ChoiceFilter(
        label="Waiting for",
        choices=[c for c in Job.WaitingFor.choices if c[0]],
        empty_label="any",
    )
    mine = django_filters.BooleanFilter(
        label="My jobs", method="worked_on", widget=forms.CheckboxInput
    )

    class Meta:
        model = Job
        fields = []

    def __init__(self, data, *args, **kwargs):
        data = data.copy()
        data.setdefault("where", AT_THE_BENCH)
        super().__init__(data, *args, **kwargs)

    def in_state(self, jobs, name, value):
        if value == AT_THE_BENCH:
            return jobs.filter(state__in=states.AT_THE_BENCH)
        return jobs if value == ALL_OPEN else jobs.filter(state=value)

    def worked_on(self, jobs, name, value):
        return jobs.filter(Q(worked_on_by(self.request.user))) if value else jobs
