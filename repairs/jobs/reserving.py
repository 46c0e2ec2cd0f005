"""Parts are reserved for a job, and released. Each action locks the job first."""

from collections.abc import Mapping

from django.db import transaction
from django.db.models import Sum

from repairs.jobs import states
from repairs.jobs.models import Job, PartReservation, PartUsed
from repairs.stock.models import Part
from shopdesk.errors import InvalidTransitionError, RefusedError
from shopdesk.stamp import Stamp


def reserve_quoted(job: Job, parts: Mapping[Part, int], *, stamp: Stamp) -> None:
    """Reserve the parts of an accepted quote, in place of those of an earlier one.

    The caller holds the lock of the job.
    """
    job.reservations.filter(is_quoted=True).exclude(part__in=parts).delete()
    for part, quantity in parts.items():
        _reserve(job, part, quantity, is_quoted=True, stamp=stamp)


@transaction.atomic
def reserve_part(job: Job, *, part: Part, quantity: int, stamp: Stamp) -> None:
    """Reserve a part at the bench, or more of it, for a job in work."""
    job = _in_work(job.pk, "parts are reserved once the customer has agreed.")
    present = job.reservations.filter(part=part).first()
    # What the job used before was not taken from this reservation.
    before = max(_used(job, part), present.quantity if present else 0)
    is_quoted = bool(present and present.is_quoted)
    _reserve(job, part, before + quantity, is_quoted=is_quoted, stamp=stamp)


@transaction.atomic
def release_part(reservation: PartReservation, *, stamp: Stamp) -> None:
    """Release what the job does not need after all."""
    _in_work(reservation.job_id, "nothing is reserved for it now.")
    found = PartReservation.objects.filter(pk=reservation.pk).first()
    if found is None:
        raise RefusedError("This part is no longer reserved for the job.")
    found.delete()


def _in_work(pk: int, refused: str) -> Job:
    """Lock the job, and refuse where it is not in work."""
    job = Job.objects.select_for_update().get(pk=pk)
    if job.state not in states.IN_WORK:
        raise InvalidTransitionError(f"The job is {job.get_state_display()}: {refused}")
    return job


def update_remaining(job: Job, part: Part) -> None:
    """Set what remains of a reservation from the parts that the job has used."""
    for reservation in job.reservations.filter(part=part):
        reservation.remaining = max(0, reservation.quantity - _used(job, part))
        reservation.save(update_fields=["remaining"])


def _reserve(
    job: Job, part: Part, quantity: int, *, is_quoted: bool, stamp: Stamp
) -> None:
    facts = {"quantity": quantity, "remaining": quantity, "is_quoted": is_quoted}
    first = {"by": stamp.by, "reserved_at": stamp.at}
    job.reservations.update_or_create(
        part=part, defaults=facts, create_defaults=facts | first
    )
    update_remaining(job, part)


def _used(job: Job, part: Part) -> int:
    used = PartUsed.objects.filter(repair__job=job, part=part)
    return used.aggregate(n=Sum("quantity"))["n"] or 0
