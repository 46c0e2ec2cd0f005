"""Undo an import, unless something builds on it."""

from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import Q

from repairs.diagnosis.learning import forget_all
from repairs.diagnosis.models import LearntCase
from repairs.jobs.models import Comeback, PastImport
from shopdesk.errors import RefusedError
from shopdesk.lookup import renew_search_indexes
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp

DELETED_FIRST = (
    *("repairs.uncodedrepair", "repairs.returnassessment", "repairs.labour"),
    *("repairs.repair", "repairs.jobtransition", "repairs.job", "repairs.device"),
    *("repairs.devicemodel", "repairs.fix_faults", "repairs.fix", "repairs.fault"),
    "repairs.customer",
)
"""The tables that an import writes, each before those that it refers to."""
FOLLOW = (Comeback, LearntCase)
"""Rows that follow from the records of an import."""


@transaction.atomic
def undo_import(past: PastImport, *, stamp: Stamp) -> None:
    """Delete what an import created; raises RefusedError if something builds on it.

    Email addresses and phone numbers that it filled in on older customers stay.
    """
    past = PastImport.objects.select_for_update().get(pk=past.pk)
    if past.undone_at is not None:
        raise RefusedError("This import is undone already.")
    if reason := builds_on(past):
        raise RefusedError(f"The import cannot be undone: {reason}")
    past.undone_at = stamp.at
    past.save(update_fields=["undone_at"])
    forget_all(past.jobs.all())
    made = past.made
    Comeback.objects.filter(job__past_import=past).delete()
    with connection.cursor() as cursor:
        for label in DELETED_FIRST:
            for run in made.get(label, []):
                model = apps.get_model(label)
                table = connection.ops.quote_name(model._meta.db_table)
                cursor.execute(f"DELETE FROM {table} WHERE id BETWEEN %s AND %s", run)
    try:
        connection.check_constraints()
    except IntegrityError:
        raise RefusedError(
            "Somebody used one of its records just now. Nothing was undone."
        ) from None
    Comeback.objects.write_all()
    renew_search_indexes()
    record_event(Action.DELETED, past, file=past.file, rows=past.rows)


def builds_on(past: PastImport) -> str:
    """Return what was done with the records of an import since, or an empty text."""
    made = past.made
    for label, runs in made.items():
        model = apps.get_model(label)
        for relation in model._meta.get_fields(include_hidden=True):
            if not (relation.auto_created and not relation.concrete):
                continue
            other = relation.related_model
            if other in FOLLOW or relation.many_to_many:
                continue
            rows = other._base_manager.filter(_within(f"{relation.field.name}", runs))
            own = made.get(other._meta.label_lower, [])
            stranger = rows.exclude(_within("pk", own)).first() if own else rows.first()
            if stranger is not None:
                kind = other._meta.verbose_name
                return f"a later record uses it ({kind} “{stranger}”)."
        entry = TrailEntry.objects.filter(_within("record", runs), kind=label).first()
        if entry is not None:
            record = model._base_manager.filter(pk=entry.record).first()
            name = f"{model._meta.verbose_name} “{record}”" if record else label
            return f"{name} was {entry.get_action_display()} on {entry.at:%Y-%m-%d}."
    return ""


def _within(name: str, runs: list[list[int]]) -> Q:
    found = Q(pk__in=[])
    for first, last in runs:
        found |= Q(**{f"{name}__gte": first, f"{name}__lte": last})
    return found
