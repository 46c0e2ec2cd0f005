"""Stock movements: each changes part, delivery and movement record, or none of them.

A part's `on_hand` always equals the sum of its movements and the sum of what remains of
its deliveries. The database refuses a level below zero in one statement, so two people
cannot both take the last part. Each movement locks the part's row first, so movements
of one part happen one after the other.
"""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F, Max
from django.utils import timezone

from repairs.stock.models import (
    Delivery,
    OutOfStockError,
    Part,
    StockMovement,
    Supplier,
)
from shopdesk.errors import StaleError


def _move(part, delivery, kind, quantity, by, why=""):
    return StockMovement.objects.create(
        part=part,
        delivery=delivery,
        kind=kind,
        quantity=quantity,
        by=by,
        why=why,
        moved_at=timezone.now(),
    )


def _hold(part: Part, *, seen: int | None = None) -> None:
    """Lock `part` and read its stock.

    `seen` is the last movement that the page showed. After a later one, the same form
    may have been sent twice, or a count may no longer be right.

    Raises: StaleError if there was a later movement.
    """
    part.on_hand = Part.objects.select_for_update().get(pk=part.pk).on_hand
    if seen is not None and seen != last_move(part):
        raise StaleError(
            f"Stock of {part.number} changed: {part.on_hand} in stock. Check and save"
            " again."
        )


def last_move(part: Part) -> int:
    return part.moves.aggregate(last=Max("id"))["last"] or 0


@transaction.atomic
def receive(
    part: Part,
    *,
    quantity: int,
    unit_cost: Decimal,
    on: date,
    by,
    supplier: str = "",
    lot: str = "",
    seen: int | None = None,
) -> Delivery:
    """Add a delivery to stock; a supplier of a new name is added, too."""
    _hold(part, seen=seen)
    return _add_delivery(
        part,
        StockMovement.Kind.RECEIVED,
        by,
        quantity=quantity,
        unit_cost=unit_cost,
        received_on=on,
        supplier=_supplier(supplier),
        lot=lot,
    )


def _add_delivery(part, kind, by, *, why="", **facts) -> Delivery:
    delivery = Delivery.objects.create(part=part, remaining=facts["quantity"], **facts)
    _move(part, delivery, kind, delivery.quantity, by, why)
    Part.objects.filter(pk=part.pk).update(on_hand=F("on_hand") + delivery.quantity)
    part.refresh_from_db(fields=["on_hand"])
    return delivery


@transaction.atomic
def take(
    part: Part,
    *,
    quantity: int,
    by,
    delivery: Delivery | None = None,
    kind: str = StockMovement.Kind.USED,
    why: str = "",
    seen: int | None = None,
) -> list[tuple[Delivery, int]]:
    """Remove parts from stock: from `delivery`, else from the oldest deliveries first.

    Returns each delivery used with the quantity taken from it. Raises OutOfStockError and
    changes nothing if there are too few.
    """
    if quantity < 1:
        raise OutOfStockError("Enter a quantity of at least 1.")
    _hold(part, seen=seen)
    taken = Part.objects.filter(pk=part.pk, on_hand__gte=quantity).update(
        on_hand=F("on_hand") - quantity
    )
    if not taken:
        raise OutOfStockError(
            f"{part.number}: only {part.on_hand} in stock, {quantity} requested."
        )
    sources = Delivery.objects.select_for_update().filter(part=part, remaining__gt=0)
    sources = sources.oldest_first()
    if delivery is not None:
        sources = sources.filter(pk=delivery.pk)
    shares, missing = [], quantity
    for source in sources:
        share = min(missing, source.remaining)
        if not share:
            break
        Delivery.objects.filter(pk=source.pk).update(remaining=F("remaining") - share)
        _move(part, source, kind, -share, by, why)
        shares.append((source, share))
        missing -= share
    if missing:
        where = f"delivery {delivery}" if delivery else "its deliveries"
        raise OutOfStockError(f"{part.number}: not enough left in {where}.")
    part.refresh_from_db(fields=["on_hand"])
    return shares


@transaction.atomic
def put_back(
    part: Part, *, delivery: Delivery | None, quantity: int, by, why=""
) -> None:
    """Put parts taken by mistake back in stock."""
    _hold(part)
    _put(part, StockMovement.Kind.PUT_BACK, quantity, by, why, first=delivery)


@transaction.atomic
def scrap(
    part: Part,
    *,
    quantity: int,
    why: str,
    by,
    delivery: Delivery | None = None,
    seen: int | None = None,
) -> None:
    """Remove parts that cannot be used: broken, lost, past their shelf life."""
    take(
        part,
        quantity=quantity,
        delivery=delivery,
        kind=StockMovement.Kind.SCRAPPED,
        why=why,
        by=by,
        seen=seen,
    )


@transaction.atomic
def count(
    part: Part, *, counted: int, on: date, by, why: str = "", seen: int | None = None
) -> int:
    """Set the stock as counted; return the difference from the recorded stock.

    Missing parts are taken from the oldest deliveries, as parts are used; surplus ones
    go to the deliveries used last. A count without difference is recorded, too.
    """
    _hold(part, seen=seen)
    change = counted - part.on_hand
    if change < 0:
        take(part, quantity=-change, kind=StockMovement.Kind.COUNTED, by=by, why=why)
    elif change > 0:
        _put(part, StockMovement.Kind.COUNTED, change, by, why, on=on)
    else:
        _move(part, None, StockMovement.Kind.COUNTED, 0, by, why)
    return change


def _put(part, kind, quantity, by, why, *, first=None, on=None):
    """Add to stock: to `first` as far as it has room, then to those used last.

    More than were ever delivered become a new delivery at the last cost.
    """
    drawn = Delivery.objects.select_for_update().filter(
        part=part, remaining__lt=F("quantity")
    )
    rooms = sorted(drawn, key=lambda d: (d == first, d.received_on, d.pk), reverse=True)
    left = quantity
    for delivery in rooms:
        share = min(left, delivery.quantity - delivery.remaining)
        if not share:
            break
        Delivery.objects.filter(pk=delivery.pk).update(remaining=F("remaining") + share)
        Part.objects.filter(pk=part.pk).update(on_hand=F("on_hand") + share)
        _move(part, delivery, kind, share, by, why)
        left -= share
    if left:
        last = part.deliveries.oldest_first().last()
        _add_delivery(
            part,
            kind,
            by,
            why=why,
            quantity=left,
            unit_cost=last.unit_cost if last else Decimal(0),
            received_on=on or last.received_on,
            lot="found",
        )
    part.refresh_from_db(fields=["on_hand"])


def _supplier(name: str) -> Supplier | None:
    """The supplier of this name, created where there is none; None for no name."""
    name = " ".join(name.split())
    if not name:
        return None
    known = Supplier.objects.filter(name__iexact=name).first()
    return known or Supplier.objects.get_or_create(name=name)[0]
