"""Whether comebacks match the return assessments: `manage.py check --database`."""

from django.core import checks
from django.db import connections

from repairs.jobs.models import Comeback
from shopdesk.checks import is_migrated, what_is_missing

DIFFERS = "repairs.E001"


def comebacks_are_as_decided(databases=None, **kwargs):
    """Return an error that names the first difference."""
    return [
        checks.Error(
            f"The comeback table differs from the return assessments: {difference}.",
            hint="Rebuild it: run Comeback.objects.write_all() in `manage.py shell`.",
            id=DIFFERS,
        )
        for alias in databases or ()
        for difference in [_first_difference(alias)]
        if difference
    ]


def _first_difference(alias: str) -> str:
    connection = connections[alias]
    if not is_migrated(connection) or what_is_missing(connection):
        return ""
    return Comeback.objects.using(alias).first_difference()
