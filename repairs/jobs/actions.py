"""What happens to a job and other records at once."""

from datetime import date, datetime

from django.conf import settings
from django.db import transaction

from repairs.jobs import sealed, states
from repairs.jobs.models import (
    AccessCode,
    Comeback,
    Job,
    NotYet,
    PartUsed,
    Repair,
    ReturnAssessment,
)
from repairs.stock.actions import put_back_in_stock, remove_from_stock
from repairs.stock.models import Delivery, Part
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import part_price
from shopdesk.stamp import Stamp


@transaction.atomic
def use_part(
    repair: Repair,
    *,
    part: Part,
    quantity: int = 1,
    delivery: Delivery | None = None,
    by,
) -> list[PartUsed]:
    """Take a part off the shelf and put it on the repair, or do neither."""
    job = Job.objects.select_for_update().get(pk=repair.job_id)
    if job.state not in states.AT_THE_BENCH:
        raise NotYet(f"The job is {job.get_state_display()}: no part goes on it now.")
    markups = Shop.current().markups()
    return [
        repair.parts_used.create(
            part=part,
            delivery=source,
            quantity=share,
            cost=source.unit_cost,
            price=part_price(source.unit_cost, fixed=part.fixed_price, markups=markups),
        )
        for source, share in remove_from_stock(
            part,
            quantity=quantity,
            delivery=delivery,
            stamp=Stamp.now(by),
            why=f"job {job.number}",
        )
    ]


@transaction.atomic
def give_back_part(used: PartUsed, *, by) -> None:
    """Put a part that was booked by mistake back on the shelf."""
    job = Job.objects.select_for_update().get(pk=used.repair.job_id)
    if job.state not in states.AT_THE_BENCH:
        raise NotYet(
            f"The job is {job.get_state_display()}: its parts stay as they are."
        )
    put_back_in_stock(
        used.part,
        delivery=used.delivery,
        quantity=used.quantity,
        stamp=Stamp.now(by),
        why=f"job {job.number}",
    )
    used.delete()


@transaction.atomic
def decide_return(
    job: Job,
    *,
    earlier: Repair,
    what: str,
    is_in_warranty: bool,
    on: date,
    by,
    why: str = "",
) -> ReturnAssessment:
    """Say what a return is and against which repair it is held.

    A later decision takes the place of an earlier one; both stay on record.
    """
    if earlier.job_id == job.pk:
        raise NotYet("A job can't be its own return.")
    if earlier.job.device_id != job.device_id:
        raise NotYet("That repair was done on another device.")
    if earlier.job.handed_over_on is None:
        raise NotYet(f"Job {earlier.job.number} was not handed back yet.")
    if earlier.job.handed_over_on > job.booked_in_on:
        raise NotYet(
            f"Job {earlier.job.number} was handed back after this one came in."
        )
    if _comes_back_from(earlier.job, job):
        raise NotYet(f"Job {earlier.job.number} is itself a return of this one.")
    if is_in_warranty and what not in (states.SAME_FAULT, states.UNDECIDED):
        raise NotYet("Only the same fault can be under cover.")
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.approved_warranty_repair and not (
        is_in_warranty and what == states.SAME_FAULT
    ):
        _take_back_cover(job, by=by)
    decision = ReturnAssessment.objects.create(
        job=job,
        earlier=earlier,
        what=what,
        is_in_warranty=is_in_warranty,
        why=why,
        by=by,
        assessed_on=on,
    )
    Comeback.objects.write(job)
    return decision


def _take_back_cover(job: Job, *, by) -> None:
    """Without cover nobody has said yes to the work: the customer must be asked."""
    if job.state == states.APPROVED:
        job.revise(by=by, why="not under cover after all")
    elif job.state != states.HANDED_OVER:
        raise NotYet(
            f"The work was done under cover and the job is {job.get_state_display()}:"
            " take it back to the bench before you decide otherwise."
        )


def _comes_back_from(job: Job, other: Job) -> bool:
    """Whether `job` is, over any number of returns, a return of `other`."""
    seen: set[int] = set()
    while job.pk not in seen:
        seen.add(job.pk)
        decision = job.decision
        if decision is None:
            return False
        job = decision.earlier.job
        if job.pk == other.pk:
            return True
    return True


@transaction.atomic
def keep_code(job: Job, *, code: str) -> None:
    """Seal what opens the device, with the customer's yes, while the job is open."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.consent != Job.Consent.YES:
        raise NotYet("A code is kept only where the customer lets us see the data.")
    if not job.is_open:
        raise NotYet("The device was handed back: no code is kept any more.")
    AccessCode.objects.filter(job=job).delete()
    locked = sealed.seal(code, job=job.pk, secret=settings.ACCESS_CODE_KEY)
    AccessCode.objects.create(job=job, sealed=locked)


@transaction.atomic
def show_code(job: Job, *, why: str, at: datetime, by) -> str:
    """The code, for this once: it is gone from the records with this answer."""
    if not why.strip():
        raise NotYet("Say what you need the code for.")
    kept = AccessCode.objects.select_for_update().filter(job=job).first()
    if kept is None:
        raise NotYet("No code is kept for this job.")
    if kept.sealed is None:
        raise NotYet("The code was shown before and is gone. Ask the customer again.")
    code = sealed.unseal(
        bytes(kept.sealed), job=job.pk, secret=settings.ACCESS_CODE_KEY
    )
    gone = AccessCode.objects.filter(pk=kept.pk, shown_at=None).update(
        sealed=None, shown_at=at, shown_to=by, why=why.strip()
    )
    if not gone:
        raise NotYet("The code was shown before and is gone. Ask the customer again.")
    return code
