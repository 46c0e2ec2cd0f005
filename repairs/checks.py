"""Whether sums match what they follow from: `manage.py check --database default`."""

from django.core import checks
from django.db import connections

from repairs.diagnosis import learning
from repairs.jobs.models import Comeback
from repairs.photos.queries import first_damaged
from shopdesk.checks import is_migrated, what_is_missing

DIFFERS = "repairs.E001"
NOT_COUNTED = "repairs.E002"
DAMAGED_PHOTO = "repairs.E003"


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


def cases_are_counted(databases=None, **kwargs):
    """Return an error that names the first case that is not counted as it should be."""
    return [
        checks.Error(
            f"What was learnt from closed jobs is not counted rightly: {difference}.",
            hint="Count again: manage.py learn --rebuild",
            id=NOT_COUNTED,
        )
        for alias in databases or ()
        if _is_set_up(alias)
        for difference in [learning.first_difference(alias)]
        if difference
    ]


def photos_are_whole(databases=None, **kwargs):
    """Return an error that names the first photo whose file is missing or differs."""
    return [
        checks.Error(
            f"{damaged}.",
            hint="Restore it from a backup made before: OPERATIONS.md says how.",
            id=DAMAGED_PHOTO,
        )
        for alias in databases or ()
        if _is_set_up(alias)
        for damaged in [first_damaged(alias)]
        if damaged
    ]


def _is_set_up(alias: str) -> bool:
    connection = connections[alias]
    return is_migrated(connection) and not what_is_missing(connection)


def _first_difference(alias: str) -> str:
    if not _is_set_up(alias):
        return ""
    return Comeback.objects.using(alias).first_difference()
