"""Which jobs wait for parts, since when, and when the parts are expected."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from repairs.jobs.models import Job, PartReservation
from repairs.stock.models import Part, PartOrder


@dataclass(frozen=True)
class WaitingJob:
    """A job that lacks so many of a part; without `part`, what its `note` names."""

    job: Job
    since: date | None
    part: Part | None = None
    missing: int = 0
    note: str = ""
    order: PartOrder | None = None


def jobs_waiting_for_parts() -> list[WaitingJob]:
    """Return them, longest waiting first.

    Stock, and then what is on order, goes to the jobs that reserved first.
    """
    kept = PartReservation.objects.active().for_list()
    kept = kept.select_related("part", "job__device__model", "job__customer")
    orders = defaultdict(list)
    for placed in PartOrder.objects.open().for_list():
        orders[placed.part_id].append([placed.outstanding, placed])
    left: dict[int, int] = {}
    found = []
    for one in kept:
        there = left.setdefault(one.part_id, one.part.on_hand)
        left[one.part_id] = max(0, there - one.remaining)
        if missing := max(0, one.remaining - there):
            day = timezone.localdate(one.reserved_at)
            placed = _take(orders[one.part_id], missing)
            found.append(WaitingJob(one.job, day, one.part, missing, "", placed))
    listed = {one.job.pk for one in found}
    noted = Job.objects.open().for_list().filter(waiting_for=Job.WaitingFor.PARTS)
    found += [
        WaitingJob(job, job.waiting_since, note=job.waiting_note)
        for job in noted
        if job.pk not in listed
    ]
    return sorted(found, key=lambda one: (one.since or date.min, one.job.pk))


def _take(orders: list[list], quantity: int) -> PartOrder | None:
    """Take so many from the orders; return the one that completes them, if any."""
    for entry in orders:
        share = min(quantity, entry[0])
        entry[0] -= share
        quantity -= share
        if not quantity:
            return entry[1]
    return None
