"""What happens to a job and the stock at once."""

from django.db import transaction

from repairs.jobs import states
from repairs.jobs.models import Job, PartUsed, Repair
from repairs.stock.actions import put_back_in_stock, remove_from_stock
from repairs.stock.models import Delivery, Part
from shopdesk.errors import InvalidTransitionError
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
    stamp: Stamp,
) -> list[PartUsed]:
    """Take a part from stock and book it on the repair, or do neither."""
    job = _at_the_bench(repair, "no parts can be booked now.")
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
            stamp=stamp,
            reason=f"job {job.number}",
        )
    ]


@transaction.atomic
def put_back_part(used: PartUsed, *, stamp: Stamp) -> None:
    """Put a part that was booked by mistake back in stock."""
    job = _at_the_bench(used.repair, "parts can no longer be changed.")
    put_back_in_stock(
        used.part,
        delivery=used.delivery,
        quantity=used.quantity,
        stamp=stamp,
        reason=f"job {job.number}",
    )
    used.delete()


def _at_the_bench(repair: Repair, refused: str) -> Job:
    """Lock the job of the repair, and refuse where it is not at the bench."""
    job = Job.objects.select_for_update().get(pk=repair.job_id)
    if job.state not in states.AT_THE_BENCH:
        raise InvalidTransitionError(f"The job is {job.get_state_display()}: {refused}")
    return job
