"""Which records were added or changed since a moment? The audit trail tells."""

from datetime import datetime

from django.db.models import Model, Q
from django.utils import timezone

from repairs.jobs.models import Job, PartReservation, Repair, ReturnAssessment
from repairs.stock.models import Part, StockMovement
from shopdesk.recording.models import Action, TrailEntry

IN_BULK = (Action.IMPORTED, Action.RESTORED)
"""They write many records at once and are one entry of the trail."""


def changed_since(model: type[Model], moment: datetime | None) -> Q:
    """Return the condition that a record, or what belongs to it, changed since then."""
    if moment is None:
        return Q()
    entries = TrailEntry.objects.filter(at__gte=moment).order_by()
    if entries.filter(action__in=IN_BULK).exists():
        return Q()
    changed = _keys(entries, model)
    if model is Part:
        moved = StockMovement.objects.filter(moved_at__gte=moment).order_by()
        reserved = PartReservation.objects.filter(_keys(entries, PartReservation))
        for rows in (moved, reserved.order_by()):
            changed |= Q(pk__in=rows.values("part"))
    if model is Repair:
        # What is recorded of a repair belongs to its job.
        jobs = Job.objects.filter(_keys(entries, Job)).order_by()
        day = timezone.localdate(moment)
        assessed = ReturnAssessment.objects.filter(assessed_on__gte=day).order_by()
        changed |= Q(job__in=jobs) | Q(pk__in=assessed.values("earlier"))
    return changed


def _keys(entries, model: type[Model]) -> Q:
    label = model._meta.label_lower
    own = entries.filter(kind=label).values("record")
    of_it = entries.filter(parent_kind=label).values("parent")
    return Q(pk__in=own) | Q(pk__in=of_it)
