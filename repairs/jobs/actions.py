"""What happens to a job and the stock at once."""

from decimal import Decimal

from django.db import transaction

from repairs.jobs.models import Job, PartUsed, Repair, UnstockedPart
from repairs.jobs.reserving import update_remaining
from repairs.stock.actions import put_back_in_stock, remove_from_stock
from repairs.stock.models import Delivery, Part
from repairs.stock.queries import current_costs
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
    known_cost = current_costs([part]).get(part.pk, Decimal(0))
    used = []
    for source, share in remove_from_stock(
        part,
        quantity=quantity,
        delivery=delivery,
        stamp=stamp,
        reason=f"job {job.number}",
    ):
        # A delivery whose cost is missing is taken to cost what the part does.
        cost = known_cost if source.unit_cost is None else source.unit_cost
        price = part_price(cost, fixed=part.fixed_price, markups=markups)
        facts = {"quantity": share, "cost": cost, "price": price}
        used.append(repair.parts_used.create(part=part, delivery=source, **facts))
    update_remaining(job, part)
    return used


@transaction.atomic
def put_back_part(used: PartUsed, *, stamp: Stamp, quantity: int | None = None) -> None:
    """Put a part that was booked and not used back in stock: all, or `quantity`."""
    job = _at_the_bench(used.repair, "parts can no longer be changed.")
    rest = used.quantity - (used.quantity if quantity is None else quantity)
    put_back_in_stock(
        used.part,
        delivery=used.delivery,
        quantity=used.quantity - rest,
        stamp=stamp,
        reason=f"job {job.number}",
    )
    if rest:
        used.quantity = rest
        used.save(update_fields=["quantity"])
    else:
        used.delete()
    update_remaining(job, used.part)


@transaction.atomic
def set_quantity_used(
    repair: Repair, *, part: Part, quantity: int, stamp: Stamp
) -> None:
    """Book what was used beyond what is booked, or put the rest back in stock."""
    booked = list(repair.parts_used.select_for_update(of=("self",)).filter(part=part))
    more = quantity - sum(used.quantity for used in booked)
    if more > 0:
        use_part(repair, part=part, quantity=more, stamp=stamp)
    for used in reversed(booked):
        if more < 0:
            share = min(-more, used.quantity)
            put_back_part(used, quantity=share, stamp=stamp)
            more += share


@transaction.atomic
def add_unstocked_part(
    repair: Repair, *, name: str, source: str, quantity: int, note: str, stamp: Stamp
) -> UnstockedPart:
    """Record a part that was never in stock; a number of ours links it to the part."""
    _at_the_bench(repair, "no parts can be booked now.")
    part = Part.objects.filter(number__iexact=name).first()
    return repair.unstocked_parts.create(
        part=part,
        name=str(part)[:120] if part else name,
        source=source,
        quantity=quantity,
        note=note,
        by=stamp.by,
        added_at=stamp.at,
    )


@transaction.atomic
def remove_unstocked_part(unstocked: UnstockedPart, *, stamp: Stamp) -> None:
    """It was recorded by mistake."""
    _at_the_bench(unstocked.repair, "parts can no longer be changed.")
    unstocked.delete()


def _at_the_bench(repair: Repair, refused: str) -> Job:
    """Lock the job of the repair, and refuse where it may not be worked on."""
    job = Job.objects.select_for_update().get(pk=repair.job_id)
    if not job.may_work_on(repair):
        raise InvalidTransitionError(f"The job is {job.get_state_display()}: {refused}")
    return job
