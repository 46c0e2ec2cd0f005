"""What happens to a job and other records at once."""

from datetime import date

from django.db import transaction

from repairs.jobs import states
from repairs.jobs.models import Job, NotYet, PartUsed, Repair, ReturnDecision
from repairs.stock.actions import put_back, take
from repairs.stock.models import Delivery, Part
from repairs.stock.prices import part_price
from shopdesk.shop.models import Shop


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
    markup = Shop.current().markup
    return [
        repair.parts_used.create(
            part=part,
            delivery=source,
            quantity=share,
            cost=source.unit_cost,
            price=part_price(source.unit_cost, fixed=part.fixed_price, markup=markup),
        )
        for source, share in take(
            part, quantity=quantity, delivery=delivery, by=by, why=f"job {job.number}"
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
    put_back(
        used.part,
        delivery=used.delivery,
        quantity=used.quantity,
        by=by,
        why=f"job {job.number}",
    )
    used.delete()


@transaction.atomic
def decide_return(
    job: Job,
    *,
    earlier: Repair,
    what: str,
    is_covered: bool,
    on: date,
    by,
    why: str = "",
) -> ReturnDecision:
    """Say what a return is and against which repair it is held.

    A later decision takes the place of an earlier one; both stay on record.
    """
    if earlier.job_id == job.pk:
        raise NotYet("A job can't be its own return.")
    if earlier.job.device_id != job.device_id:
        raise NotYet("That repair was done on another device.")
    if earlier.job.handed_back_on is None:
        raise NotYet(f"Job {earlier.job.number} was not handed back yet.")
    if earlier.job.handed_back_on > job.booked_in_on:
        raise NotYet(
            f"Job {earlier.job.number} was handed back after this one came in."
        )
    if _comes_back_from(earlier.job, job):
        raise NotYet(f"Job {earlier.job.number} is itself a return of this one.")
    if is_covered and what not in (states.SAME_FAULT, states.UNDECIDED):
        raise NotYet("Only the same fault can be under cover.")
    return ReturnDecision.objects.create(
        job=job,
        earlier=earlier,
        what=what,
        is_covered=is_covered,
        why=why,
        by=by,
        decided_on=on,
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
