"""Stock movements: each changes part, delivery and movement record, or none of them.

A part's `on_hand` always equals the sum of its movements and the sum of what remains of
its deliveries. Each action locks the part's row first, so movements of one part happen
one after the other and two people cannot both take the last part; the database refuses
a level below zero in any case.
"""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F, Max, Sum

from repairs.stock.models import (
    Delivery,
    OutOfStockError,
    Part,
    PartOrder,
    StockMovement,
    Supplier,
)
from shopdesk.errors import StaleError
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import part_price
from shopdesk.stamp import Stamp

Kind = StockMovement.Kind


@dataclass(frozen=True)
class _Action:
    """The facts that all movements of an action share; `part` is locked."""

    part: Part
    kind: str
    stamp: Stamp
    reason: str

    def move(self, delivery: Delivery | None, quantity: int) -> None:
        """Record a movement and change the delivery and the part with it."""
        self.part.movements.create(
            delivery=delivery,
            kind=self.kind,
            quantity=quantity,
            reason=self.reason,
            by=self.stamp.by,
            moved_at=self.stamp.at,
        )
        if delivery is not None:
            delivery.remaining += quantity
            self.part.on_hand += quantity
            delivery.save(update_fields=["remaining"])
            Part.objects.filter(pk=self.part.pk).update(on_hand=self.part.on_hand)

    def add_delivery(self, quantity: int, **facts) -> Delivery:
        delivery = Delivery(part=self.part, quantity=quantity, remaining=0, **facts)
        delivery.save()
        self.move(delivery, quantity)
        return delivery

    def put_in(self, quantity: int, *, first: Delivery | None = None) -> None:
        """Add to stock: to `first` as far as it has room, then to those used last.

        More than were ever delivered become a new delivery at the last cost.
        """
        deliveries = self.part.deliveries.select_for_update()
        with_room = deliveries.filter(remaining__lt=F("quantity"), blocked_on=None)
        latest_first = with_room.oldest_first().reverse()
        for delivery in sorted(latest_first, key=lambda delivery: delivery != first):
            share = min(quantity, delivery.quantity - delivery.remaining)
            if share:
                self.move(delivery, share)
                quantity -= share
        if quantity:
            last = deliveries.oldest_first().last()
            self.add_delivery(
                quantity,
                unit_cost=last.unit_cost if last else Decimal(0),
                received_on=self.stamp.on,
                lot="found",
            )


def _lock(
    part: Part,
    kind: str,
    *,
    stamp: Stamp,
    reason: str = "",
    last_movement_id: int | None = None,
) -> _Action:
    """Lock `part`, read its stock and begin an action.

    `last_movement_id` is what the page showed. After a later movement, the same form
    may have been sent twice, or a count may no longer be right.

    Raises: StaleError if there was a later movement.
    """
    part.on_hand = Part.objects.select_for_update().get(pk=part.pk).on_hand
    if last_movement_id is not None and last_movement_id != last_movement(part):
        raise StaleError(
            f"Stock of {part.number} changed: {part.on_hand} in stock. Check and save"
            " again."
        )
    return _Action(part, kind, stamp, reason)


def last_movement(part: Part) -> int:
    """Return the id of the last movement of `part`, 0 if there is none."""
    return part.movements.aggregate(last=Max("id"))["last"] or 0


# The further arguments of an action are those of `_lock`.


@transaction.atomic
def receive(
    part: Part,
    *,
    quantity: int,
    unit_cost: Decimal | None = None,
    on: date,
    supplier: str = "",
    lot: str = "",
    **facts,
) -> Delivery:
    """Add a delivery to stock; a supplier of a new name is added, too.

    It counts towards what is on order. Its cost is entered later if left out.
    """
    delivery = _lock(part, Kind.RECEIVED, **facts).add_delivery(
        quantity,
        unit_cost=unit_cost,
        received_on=on,
        supplier=_supplier(supplier),
        lot=lot,
    )
    PartOrder.objects.all().fill(part, quantity)
    return delivery


@transaction.atomic
def enter_cost(delivery: Delivery, *, unit_cost: Decimal, stamp: Stamp) -> None:
    """Enter the missing cost of a delivery, also for the repairs that used it.

    Repairs that were handed over keep the cost that they have: it is final.
    Raises: StaleError if someone else has entered it meanwhile.
    """
    part = Part.objects.select_for_update().get(pk=delivery.part_id)
    delivery = Delivery.objects.select_for_update().get(pk=delivery.pk)
    if delivery.unit_cost is not None:
        raise StaleError("Someone else has entered the cost of this delivery.")
    delivery.unit_cost = unit_cost
    delivery.save(update_fields=["unit_cost"])
    markups = Shop.current().markups()
    delivery.used_in.filter(repair__handed_over_on=None).update(
        cost=unit_cost,
        price=part_price(unit_cost, fixed=part.fixed_price, markups=markups),
    )


@transaction.atomic
def remove_from_stock(
    part: Part,
    *,
    quantity: int,
    delivery: Delivery | None = None,
    kind: str = Kind.USED,
    **facts,
) -> list[tuple[Delivery, int]]:
    """Remove parts from stock: from `delivery`, else from the oldest deliveries first.

    Returns each delivery used with the quantity taken from it.
    Raises: OutOfStockError if there are too few; nothing is changed then.
    """
    if quantity < 1:
        raise OutOfStockError("Enter a quantity of at least 1.")
    action = _lock(part, kind, **facts)
    sources = part.deliveries.select_for_update().filter(remaining__gt=0).oldest_first()
    if delivery is not None:
        delivery.refresh_from_db()
        if delivery.is_blocked:
            raise OutOfStockError(
                f"Delivery {delivery} of {part.number} is blocked:"
                f" {delivery.blocked_reason}"
            )
        sources = sources.filter(pk=delivery.pk)
    available = sum(source.remaining for source in sources)
    if available < quantity:
        where = f"left in delivery {delivery}" if delivery else "in stock"
        blocked = part.deliveries.aggregate(n=Sum("blocked_quantity"))["n"] or 0
        more = f" {blocked} more are blocked." if blocked and not delivery else ""
        raise OutOfStockError(
            f"{part.number}: only {available} {where}, {quantity} requested.{more}"
        )
    shares = []
    for source in sources:
        share = min(quantity, source.remaining)
        if share:
            action.move(source, -share)
            shares.append((source, share))
            quantity -= share
    return shares


@transaction.atomic
def put_back_in_stock(
    part: Part, *, delivery: Delivery | None, quantity: int, **facts
) -> None:
    """Put parts taken by mistake back; those of a blocked delivery stay set aside.

    A count may have found them already: then they go where there is room.
    """
    action = _lock(part, Kind.PUT_BACK, **facts)
    if delivery is not None:
        delivery = Delivery.objects.select_for_update().get(pk=delivery.pk)
        if delivery.is_blocked:
            on, reason = delivery.blocked_on, delivery.blocked_reason
            aside = delivery.blocked_quantity
            share = min(quantity, delivery.quantity - aside)
            if share:
                _set_blocked(delivery, on=None)
                action.move(delivery, share)
                replace(action, kind=Kind.BLOCKED, reason=reason).move(delivery, -share)
                _set_blocked(delivery, on=on, reason=reason, quantity=aside + share)
                quantity -= share
    if quantity:
        action.put_in(quantity, first=delivery)


@transaction.atomic
def block_delivery(delivery: Delivery, *, reason: str, stamp: Stamp) -> None:
    """Set what remains of a delivery aside: nobody can use it until it is released."""
    action, delivery = _lock_delivery(delivery, Kind.BLOCKED, reason, stamp=stamp)
    if delivery.is_blocked:
        raise StaleError(f"Delivery {delivery} is already blocked.")
    quantity = delivery.remaining
    if quantity:
        action.move(delivery, -quantity)
    _set_blocked(delivery, on=stamp.on, reason=reason, quantity=quantity)


@transaction.atomic
def release_delivery(delivery: Delivery, *, stamp: Stamp) -> None:
    """Put a blocked delivery back in stock."""
    action, delivery = _lock_delivery(delivery, Kind.RELEASED, "", stamp=stamp)
    if not delivery.is_blocked:
        raise StaleError(f"Delivery {delivery} is not blocked.")
    quantity = delivery.blocked_quantity
    _set_blocked(delivery, on=None)
    if quantity:
        action.move(delivery, quantity)


def _set_blocked(
    delivery: Delivery, *, on: date | None, reason: str = "", quantity: int = 0
) -> None:
    delivery.blocked_on, delivery.blocked_reason = on, reason
    delivery.blocked_quantity = quantity
    delivery.save(update_fields=["blocked_on", "blocked_reason", "blocked_quantity"])


def _lock_delivery(delivery: Delivery, kind: str, reason: str, *, stamp: Stamp):
    action = _lock(delivery.part, kind, stamp=stamp, reason=reason)
    return action, Delivery.objects.select_for_update().get(pk=delivery.pk)


def scrap(part: Part, **facts) -> None:
    """Remove parts that cannot be used: broken, lost, past their shelf life."""
    remove_from_stock(part, kind=Kind.SCRAPPED, **facts)


@transaction.atomic
def count(part: Part, *, counted: int, **facts) -> int:
    """Set the stock as counted; return the difference from the recorded stock.

    Missing parts are taken from the oldest deliveries, as parts are used; surplus ones
    go to the deliveries used last. A count without difference is recorded, too.
    """
    action = _lock(part, Kind.COUNTED, **facts)
    difference = counted - part.on_hand
    if difference < 0:
        remove_from_stock(part, quantity=-difference, kind=Kind.COUNTED, **facts)
    elif difference > 0:
        action.put_in(difference)
    else:
        action.move(None, 0)
    return difference


def _supplier(name: str) -> Supplier | None:
    """Return the supplier of this name, created if needed; None for no name."""
    name = " ".join(name.split())
    if not name:
        return None
    existing = Supplier.objects.filter(name__iexact=name).first()
    return existing or Supplier.objects.get_or_create(name=name)[0]
