"""Import a shop's own list: start, decide, import all of it or nothing."""

import json
from collections.abc import Callable, Collection, Iterable, Mapping
from io import BytesIO

from django.db import transaction
from django.utils.text import capfirst

from repairs.comebacks.record import ComebackReport, build_report
from repairs.comebacks.scope import Scope
from repairs.history.actions import import_jobs
from repairs.history.issues import ImportIssues
from repairs.history.linked_records import Created
from repairs.jobs.models import PastImport
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.models import SheetDraft, SheetLayout
from repairs.sheet_import.plan import SheetPlan, first_decisions
from repairs.sheet_import.remarks import Conversion
from repairs.sheet_import.sheet_columns import SheetColumns
from repairs.sheet_import.sheet_file import SheetError, read_table
from repairs.sheet_import.text_groups import TextGroup, merge
from repairs.sheet_import.text_groups import split as split_group
from shopdesk.errors import IncompleteError, RefusedError, StaleError
from shopdesk.stamp import Stamp

MAX_NAME = 200
MAX_ENTRY = 120


# --- drafts ---------------------------------------------------------------------------


def start_draft(
    content: bytes, *, file: str, max_rows: int, stamp: Stamp
) -> SheetDraft:
    """Store a file whose import begins, with suggestions; raises SheetError."""
    table = read_table(BytesIO(content))
    if len(table.rows) > max_rows:
        raise SheetError(
            f"The list has more than {max_rows:,} rows. Use the command import_sheet."
        )
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
    draft: SheetDraft,
    *,
    sheet: str,
    encoding: str,
    separator: str,
    header_line: int,
    stamp: Stamp,
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
    draft.decisions = first_decisions(table, Decisions(header_line=header_line))
    draft.changed_at = stamp.at
    draft.save(update_fields=["cells", "decisions_json", "changed_at"])


def decide_groups(
    draft: SheetDraft,
    *,
    of: str,
    groups: list[TextGroup],
    changed: list[tuple[str, TextGroup]],
    merged: list[str],
    split: list[tuple[str, str]],
    min_named: int,
    stamp: Stamp,
) -> None:
    """Change groups of texts, which are known by their first text.

    `merged` become one group; `split` are first texts, each with a text that leaves
    its group. Groups of at least `min_named` rows that have no entry get their first
    text as the name of a new one.
    """
    by_label = {group.label: number for number, group in enumerate(groups)}
    found = list(groups)
    for label, group in changed:
        if label not in by_label or found[by_label[label]].label != group.label:
            raise StaleError("The groups have changed meanwhile. Check them again.")
        found[by_label[label]] = group
    if min_named:
        found = [
            group.changed(name=capfirst(group.label)[:MAX_ENTRY])
            if not group.code and group.size >= min_named
            else group
            for group in found
        ]
    found = merge(found, {by_label[label] for label in merged})
    for label in dict.fromkeys(label for label, _ in split):
        number = next(n for n, group in enumerate(found) if group.label == label)
        texts = [text for of_label, text in split if of_label == label]
        found = split_group(found, number, texts)
    decide(draft, stamp=stamp, **{of: found})


def correct(
    draft: SheetDraft,
    *,
    typed: Iterable[tuple[str, str, str]],
    shown: Collection[int],
    left_out: Collection[int],
    stamp: Stamp,
) -> None:
    """Keep values typed for rows, as line, field and text, and rows left out.

    `shown` are the lines of which it was said whether they are left out.
    """
    decisions = draft.decisions
    corrections = {line: dict(of) for line, of in decisions.corrections.items()}
    earlier = dict(decisions.earlier)
    for line, name, text in typed:
        if name == "back_again":
            earlier[line] = text.strip()
        else:
            corrections.setdefault(line, {})[name] = text.strip()
    decide(
        draft,
        corrections=corrections,
        earlier=earlier,
        left_out=sorted({*decisions.left_out} - {*shown} | {*left_out}),
        stamp=stamp,
    )


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


@transaction.atomic
def finish_draft(draft: SheetDraft, *, plan: SheetPlan, stamp: Stamp) -> PastImport:
    """Import a draft, which is deleted then."""
    past = import_sheet(plan, stamp=stamp)
    draft.delete()
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
