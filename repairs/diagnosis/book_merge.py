"""Two entries of the fault book become one: what moves, what is lost."""

from collections.abc import Iterable
from typing import Any

from django.db import transaction
from django.db.models import ForeignKey, Q

from repairs.diagnosis import learning
from repairs.diagnosis.models import LearntCase
from repairs.faults.models import CodedEntry, Fault, Fix, MergedEntry, UsualPart
from repairs.jobs.models import Comeback, Job, Repair
from shopdesk.errors import RefusedError
from shopdesk.look.merging_pages import Merge, differences, locked
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp

FAULT_FIELDS = (
    *("name", "area", "part", "mode", "cause", "kinds", "hazard", "notes", "misled"),
    "is_retired",
)
FIX_FIELDS = ("name", "fix_type", "minutes", "warranty_days", "hazard", "notes")
FIX_FIELDS += ("is_retired",)
TEXTS = ("notes", "misled")
"""Both texts stay, one below the other."""
LINKS = {Fault: ("symptoms", "checks", "fixes"), Fix: ("faults",)}
"""What an entry is linked to; links of both stay."""
MANY_VISITS = 500
"""Visits whose comebacks are written one by one; more are written all at once."""


def fault_merge(kept: Fault, gone: Fault) -> Merge:
    """Return what merging `gone` into `kept` does; raise RefusedError if it cannot."""
    _check(kept, gone)
    both = LearntCase.objects.filter(
        fault=gone, job__learnt__in=LearntCase.objects.filter(fault=kept)
    )
    moves = [
        *_moving_records(gone),
        ("usual symptoms", gone.symptoms.count()),
        ("checks", gone.checks.count()),
        ("fixes", gone.fixes.count()),
        ("notes by board", gone.board_notes.count()),
        ("jobs learnt from", gone.learnt.count()),
    ]
    note = "Faults are compared as similar by their names, so nothing else is linked."
    if count := both.count():
        note += f" {count} of the jobs learnt from had both and count once."
    return Merge(
        differences(kept, gone, FAULT_FIELDS, merged=_merged), moves, note=note
    )


def fix_merge(kept: Fix, gone: Fix) -> Merge:
    """Return what merging `gone` into `kept` does; raise RefusedError if it cannot."""
    _check(kept, gone)
    usual = gone.usual_parts.exclude(part__in=kept.usual_parts.values("part"))
    options = _holders(gone, "quoteoption").values("quote").distinct().count()
    moves = [
        *_moving_records(gone),
        ("quotes", options),
        ("faults", gone.faults.count()),
        ("usual parts", usual.count()),
    ]
    return Merge(
        differences(kept, gone, FIX_FIELDS, merged=_merged),
        moves,
        note="Past repairs keep the type that was recorded; sent quotes keep their"
        " text.",
    )


def _moving_records(gone: CodedEntry) -> list[tuple[str, int]]:
    repairs = gone.repairs
    moves = [
        ("repairs", repairs.count()),
        ("jobs", repairs.values("job").distinct().count()),
        ("comebacks", _comebacks(gone).values("job").distinct().count()),
    ]
    if isinstance(gone, Fault):
        quoted = repairs.filter(job__quotes__isnull=False)
        moves.append(("quotes", quoted.values("job__quotes").distinct().count()))
    return moves


def _comebacks(*entries: CodedEntry):
    kind = entries[0]._meta.model_name
    return Comeback.objects.filter(**{f"earlier__{kind}__in": entries})


def _holders(entry: CodedEntry, model_name: str):
    """Return the records of a model above this room that name the entry."""
    relation = next(
        one
        for one in _relations(type(entry))
        if one.related_model._meta.model_name == model_name
    )
    rows = relation.related_model._default_manager
    return rows.filter(**{relation.field.name: entry})


def _relations(model: type[CodedEntry]) -> list:
    """Return the foreign keys to an entry, of whatever room."""
    found = model._meta.get_fields(include_hidden=True)
    return [
        one
        for one in found
        if one.auto_created
        and not one.concrete
        and type(one.field) is ForeignKey
        and not one.related_model._meta.auto_created
    ]


def _merged(kept: CodedEntry, gone: CodedEntry, name: str) -> Any:
    """Return the value that stays: that of `kept`, unless it is empty."""
    mine, other = getattr(kept, name), getattr(gone, name)
    if name == "is_retired":
        return mine
    if name in TEXTS and mine and other and mine != other:
        both = f"{mine}\n\n{other}"
        return both if len(both) <= kept._meta.get_field(name).max_length else mine
    return other if mine in ("", None) else mine


@transaction.atomic
def merge_faults(kept: Fault, gone: Fault, *, stamp: Stamp) -> None:
    """Move all that names the fault `gone` to `kept`, and delete `gone`."""
    kept, gone = locked(Fault, kept, gone)
    _check(kept, gone)
    learning.move_cases(gone.pk, kept.pk)
    _finish(kept, gone, FAULT_FIELDS, stamp=stamp)


@transaction.atomic
def merge_fixes(kept: Fix, gone: Fix, *, stamp: Stamp) -> None:
    """Move all that names the fix `gone` to `kept`, and delete `gone`."""
    kept, gone = locked(Fix, kept, gone)
    _check(kept, gone)
    known = kept.usual_parts.values_list("part", flat=True)
    UsualPart.objects.filter(fix=gone, part__in=list(known)).delete()
    _finish(kept, gone, FIX_FIELDS, stamp=stamp)


def _finish(
    kept: CodedEntry, gone: CodedEntry, names: Iterable[str], *, stamp: Stamp
) -> None:
    kind, values = kept._meta.model_name, {n: _merged(kept, gone, n) for n in names}
    visits = list(_comebacks(kept, gone).order_by().values_list("job", flat=True))
    # First: by this row the database lets what is final move.
    MergedEntry.objects.create(
        **{kind: kept, "old_id": gone.pk, "code": gone.code, "name": gone.name},
        merged_on=stamp.on,
    )
    for name in LINKS[type(kept)]:
        getattr(kept, name).add(*getattr(gone, name).all())
        getattr(gone, name).clear()
    for relation in _relations(type(kept)):
        if relation.related_model is not Comeback:
            rows = relation.related_model._default_manager
            rows.filter(**{relation.field.name: gone}).update(
                **{relation.field.name: kept}
            )
    _write_comebacks(visits)
    code = gone.code
    gone.delete()
    for name, value in values.items():
        setattr(kept, name, value)
    kept.save()
    record_event(Action.MERGED, kept, by=stamp.by, merged=code)


def _write_comebacks(visits: list[int]) -> None:
    """Write the comebacks of these visits anew: their pair and cost may change."""
    if len(visits) > MANY_VISITS:
        Comeback.objects.write_all()
        return
    for job in Job.objects.filter(pk__in=visits).order_by("pk"):
        Comeback.objects.write(job)


def _check(kept: CodedEntry, gone: CodedEntry) -> None:
    """Refuse to merge an entry with itself, or faults that are on one open job."""
    noun = kept._meta.verbose_name
    if kept.pk == gone.pk:
        raise RefusedError(f"Choose another {noun}: this is the same one.")
    if isinstance(kept, Fault):
        both = Job.objects.filter(
            Q(handed_over_on=None),
            pk__in=Repair.objects.filter(fault=gone).values("job"),
            repairs__fault=kept,
        )
        if numbers := sorted(set(both.values_list("number", flat=True))):
            raise RefusedError(
                f"Both faults are on an open job: {', '.join(numbers)}. Remove one"
                " there or hand the job over first."
            )
