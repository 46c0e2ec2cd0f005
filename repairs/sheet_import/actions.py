"""Import a shop's own list: start, decide, import all of it or nothing, undo."""

import json
from collections.abc import Callable, Mapping
from io import BytesIO

from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.models import Q

from repairs.comebacks.record import ComebackReport, build_report
from repairs.comebacks.scope import Scope
from repairs.diagnosis.learning import forget_all
from repairs.diagnosis.models import LearntCase
from repairs.history.actions import import_jobs
from repairs.history.issues import ImportIssues
from repairs.history.linked_records import Created
from repairs.jobs.models import Comeback, PastImport
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.models import SheetDraft, SheetLayout
from repairs.sheet_import.plan import SheetPlan, first_decisions
from repairs.sheet_import.remarks import Conversion
from repairs.sheet_import.sheet_columns import SheetColumns
from repairs.sheet_import.sheet_file import read_table
from shopdesk.errors import IncompleteError, RefusedError
from shopdesk.lookup import renew_search_indexes
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp

MAX_NAME = 200
DELETED_FIRST = (
    *("repairs.uncodedrepair", "repairs.returnassessment", "repairs.labour"),
    *("repairs.repair", "repairs.jobtransition", "repairs.job", "repairs.device"),
    *("repairs.devicemodel", "repairs.fix_faults", "repairs.fix", "repairs.fault"),
    "repairs.customer",
)
"""The tables that an import writes, each before those that it refers to."""
FOLLOW = (Comeback, LearntCase)
"""Rows that follow from the records of an import."""


# --- drafts ---------------------------------------------------------------------------


def start_draft(content: bytes, *, file: str, stamp: Stamp) -> SheetDraft:
    """Store a file whose import begins, with suggestions; raises SheetError."""
    table = read_table(BytesIO(content))
    draft = SheetDraft(
        file=file[-MAX_NAME:],
        by=stamp.by,
        created_at=stamp.at,
        changed_at=stamp.at,
        content=content,
    )
    draft.table = table
    draft.decisions = first_decisions(table, Decisions())
    draft.save()
    return draft


def decide(draft: SheetDraft, *, stamp: Stamp, **values: object) -> None:
    """Change some decisions about a draft; raises DecisionError."""
    draft.decisions = draft.decisions.changed(**values)
    draft.changed_at = stamp.at
    draft.save(update_fields=["decisions_json", "changed_at"])


@transaction.atomic
def read_again(
    draft: SheetDraft, *, sheet: str, encoding: str, separator: str, stamp: Stamp
) -> None:
    """Read the file of a draft in another way; raises SheetError.

    Other cells have other headers, so columns are suggested anew.
    """
    table = read_table(
        BytesIO(bytes(draft.content)),
        sheet=sheet,
        encoding=encoding,
        separator=separator,
    )
    draft.table = table
    draft.decisions = first_decisions(table, Decisions())
    draft.changed_at = stamp.at
    draft.save(update_fields=["cells", "decisions_json", "changed_at"])


def remember(columns: SheetColumns, decisions: Decisions, *, stamp: Stamp) -> None:
    """Keep the decisions for the next list with the same headers."""
    SheetLayout.objects.update_or_create(
        signature=columns.signature,
        defaults={
            "decisions_json": decisions.reusable.to_json(),
            "saved_at": stamp.at,
        },
    )


# --- importing ------------------------------------------------------------------------


@transaction.atomic
def import_sheet(
    plan: SheetPlan,
    *,
    stamp: Stamp,
    progress: Callable[[int], object] = lambda jobs: None,
) -> PastImport:
    """Import all rows of the plan, or nothing.

    Raises: IncompleteError while something is undecided, RefusedError if the records
    have changed since the plan was made.
    """
    conversion = plan.conversion
    if conversion.questions:
        raise IncompleteError(" ".join(one.text for one in conversion.questions))
    if not conversion.rows:
        raise IncompleteError(
            "All rows are on record already."
            if conversion.already
            else "There is no row to import."
        )
    past = _save(conversion, file=plan.file, stamp=stamp, progress=progress)
    remember(plan.columns, plan.settled, stamp=stamp)
    return past


def _save(
    conversion: Conversion,
    *,
    file: str,
    stamp: Stamp,
    progress: Callable[[int], object] = lambda jobs: None,
) -> PastImport:
    past = PastImport.objects.create(
        file=file[-MAX_NAME:],
        imported_at=stamp.at,
        by=stamp.by,
        rows=len(conversion.rows),
        made_json="{}",
    )
    issues = ImportIssues()
    result = import_jobs(
        conversion.rows, issues=issues, file=file, past_import=past, progress=progress
    )
    if issues:
        raise RefusedError(
            f"Records changed meanwhile: {issues.first(1)[0]} Nothing was imported."
        )
    past.made_json = json.dumps(_runs(result.created))
    past.save(update_fields=["made_json"])
    return past


def _runs(created: Created) -> dict[str, list[list[int]]]:
    """Return the keys of the new records by table, as pairs of first and last."""
    found: dict[str, list[list[int]]] = {}
    for kind, pks in created.pks.items():
        runs: list[list[int]] = []
        for pk in sorted(pks):
            if runs and pk == runs[-1][1] + 1:
                runs[-1][1] = pk
            else:
                runs.append([pk, pk])
        found[kind._meta.label_lower] = runs
    return found


class _UndoTrialError(Exception):
    """Rolls a trial back."""


def try_import(
    plan: SheetPlan, *, stamp: Stamp
) -> tuple[dict[str, int], ComebackReport | None]:
    """Return what the import would create, by table, and the comeback report after it.

    It is imported and taken back, so the figures are exact.
    """
    counts: dict[str, int] = {}
    report = None
    if not plan.conversion.rows or plan.conversion.questions:
        return counts, report
    try:
        with transaction.atomic():
            counts = _save(plan.conversion, file=plan.file, stamp=stamp).counts
            scope = Scope(as_of=stamp.on, within=plan.shop.comeback_period_days)
            report = build_report(scope, shop=plan.shop)
            raise _UndoTrialError
    except _UndoTrialError:
        return counts, report


SHOWN = {
    "repairs.customer": "customers",
    "repairs.device": "devices",
    "repairs.devicemodel": "device models",
    "repairs.job": "jobs",
    "repairs.repair": "repairs",
    "repairs.uncodedrepair": "repairs not coded yet",
    "repairs.returnassessment": "returns",
    "repairs.fault": "faults",
    "repairs.fix": "fixes",
}


def named_counts(counts: Mapping[str, int]) -> list[tuple[str, int]]:
    """Return the number of new records of each kind that people know."""
    return [(label, counts.get(kind, 0)) for kind, label in SHOWN.items()]


# --- undoing --------------------------------------------------------------------------


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
