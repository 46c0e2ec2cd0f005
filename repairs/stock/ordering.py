"""What is to be ordered, what was ordered, and how an order ends."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from django.core.cache import cache
from django.db import transaction
from django.db.models import Min, OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from repairs.stock.models import Delivery, Part, PartOrder, StockMovement, Supplier
from repairs.stock.reordering import LEAD_DAYS, Need, UseRate, need, pooled_rate
from shopdesk.errors import RefusedError, StaleError
from shopdesk.stamp import Stamp

WINDOW_DAYS = 365  # of past use that counts
COMMON_RATE = "rate-of-use-common-to-all-parts"  # where the cache has it
RATE_SECONDS = 3600

Kind = StockMovement.Kind


@dataclass(frozen=True)
class PastUse:
    """Pieces of each use of a part, by a job each, in so many days."""

    sizes: tuple[int, ...]
    days: int


def past_use(parts: Iterable[Part] | None = None, *, on: date) -> dict[int, PastUse]:
    """Return the use of each part that was ever delivered, by its id.

    What a job put back counts as not used.
    """
    start = on - timedelta(days=WINDOW_DAYS)
    since = timezone.make_aware(datetime.combine(start, time.min))
    moved = StockMovement.objects.filter(
        kind__in=[Kind.USED, Kind.PUT_BACK], moved_at__gte=since
    )
    delivered = Delivery.objects.order_by()
    if parts is not None:
        moved = moved.filter(part__in=list(parts))
        delivered = delivered.filter(part__in=list(parts))
    sizes: dict[int, list[int]] = defaultdict(list)
    uses = moved.order_by().values("part", "reason").annotate(n=Sum("quantity"))
    for pk, quantity in uses.filter(n__lt=0).values_list("part", "n"):
        sizes[pk].append(-quantity)
    first = delivered.values("part").annotate(day=Min("received_on"))
    return {
        pk: PastUse(
            tuple(sizes[pk]), days=min(WINDOW_DAYS, max(1, (on - day).days + 1))
        )
        for pk, day in first.values_list("part", "day")
    }


def common_rate(*, on: date) -> UseRate | None:
    """Return the rate of use that all parts have in common; it may be an hour old."""

    def fitted() -> UseRate | None:
        uses = past_use(on=on).values()
        return pooled_rate(
            [len(one.sizes) for one in uses], days=[one.days for one in uses]
        )

    return cache.get_or_set(COMMON_RATE, fitted, RATE_SECONDS)


def need_of(part: Part, use: PastUse | None, *, common: UseRate | None) -> Need:
    """Return what is to be ordered of a part, which is `for_ordering`."""
    rate = None
    if common is not None and use is not None:
        rate = common.after(uses=len(use.sizes), days=use.days)
    return need(
        rate,
        sizes=(use and use.sizes) or (1,),
        lead_days=part.lead_days or LEAD_DAYS,
        position=part.on_hand + part.on_order - part.reserved,
        fixed_level=part.reorder_level,
    )


def for_ordering(parts):
    """With `reserved`, `on_order` and `supplier_name`, the usual or the last one."""
    orders = PartOrder.objects.open().filter(part=OuterRef("pk")).order_by()
    sums = orders.values("part").values_list(Sum("outstanding"))
    last = Delivery.objects.filter(part=OuterRef("pk"), supplier__isnull=False)
    last = last.order_by("-received_on", "-id").values("supplier__name")
    return parts.with_reserved().annotate(
        on_order=Coalesce(Subquery(sums), 0),
        supplier_name=Coalesce("supplier__name", Subquery(last[:1])),
    )


@dataclass(frozen=True)
class OrderLine:
    part: Part
    need: Need


def to_order(*, on: date) -> dict[str, list[OrderLine]]:
    """Return what is to be ordered by the name of its supplier, "" if not known."""
    common, uses = common_rate(on=on), past_use(on=on)
    found: dict[str, list[OrderLine]] = defaultdict(list)
    parts = for_ordering(Part.objects.filter(is_retired=False)).order_by("number")
    for part in parts:
        needed = need_of(part, uses.get(part.pk), common=common)
        needed = replace(needed, quantity=max(needed.quantity, part.wanted))
        if needed.quantity:
            found[part.supplier_name or ""].append(OrderLine(part, needed))
    return dict(sorted(found.items(), key=lambda item: (not item[0], item[0])))


@transaction.atomic
def order(
    quantities: Mapping[Part, int],
    *,
    seen: Mapping[Part, int],
    supplier: str,
    expected_on: date | None,
    stamp: Stamp,
) -> int:
    """Record that so many were ordered; return of how many parts.

    `seen` is what was on order of each when the sender looked, so that nothing is
    ordered twice.
    """
    if not quantities:
        raise RefusedError("Enter the quantity of at least one part.")
    pks = sorted(part.pk for part in quantities)
    list(Part.objects.select_for_update().filter(pk__in=pks).order_by("pk"))
    now = {part.pk: part for part in for_ordering(Part.objects.filter(pk__in=pks))}
    for part in quantities:
        if now[part.pk].on_order != seen[part]:
            raise StaleError(
                f"Someone else has changed what is on order of {part.number}. Check"
                " the list and save again."
            )
    Part.objects.filter(pk__in=pks).exclude(wanted=0).update(wanted=0)
    at = Supplier.objects.filter(name=supplier).first()
    for part, quantity in quantities.items():
        PartOrder.objects.create(
            part=part,
            supplier=at,
            quantity=quantity,
            outstanding=quantity,
            ordered_on=stamp.on,
            expected_on=expected_on,
            by=stamp.by,
        )
    return len(quantities)


@transaction.atomic
def put_on_order_list(part: Part, *, quantity: int, stamp: Stamp) -> None:
    """Ask for so many of a part, whatever its stock; 0 takes it from the list again."""
    part = Part.objects.select_for_update().get(pk=part.pk)
    if part.is_retired and quantity:
        raise RefusedError(f"{part.number} is retired. It cannot be ordered.")
    part.wanted = quantity
    part.save(update_fields=["wanted"])


@transaction.atomic
def cancel_order(placed: PartOrder, *, stamp: Stamp) -> None:
    """What is still outstanding will not come."""
    placed = PartOrder.objects.select_for_update().get(pk=placed.pk)
    if not placed.outstanding:
        raise RefusedError("Nothing of this order is outstanding any more.")
    placed.outstanding = 0
    placed.cancelled_on = stamp.on
    placed.save(update_fields=["outstanding", "cancelled_on"])
