"""Moves of parts: each changes shelf, delivery and the record of moves, or none.

Always true: a part's `on_hand` is the sum of its moves and the sum of what remains of
its deliveries. The database refuses to go below zero in one statement, so two people
taking the last part at once can't both have it. Each move first takes hold of the
part's row, so moves of one part come one after the other.
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
    """Nobody else moves `part` until we are done.

    `seen` is the last move that the page showed: where there is a later one, the same
    form may have been sent twice, or what was counted is no longer so.
    """
    part.on_hand = Part.objects.select_for_update().get(pk=part.pk).on_hand
    if seen is not None and seen != last_move(part):
        raise StaleError(
            f"{part.number} was moved since this page was opened: {part.on_hand} are on"
            " the shelf now. Look at its moves, and send again what is still right."
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
    """A delivery is on the shelf; a supplier of a new name is added."""
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
    """Take parts off the shelf: from `delivery`, else from the oldest ones first.

    Returns from which delivery how many came. Raises OutOfStockError and moves nothing where
    there are too few.
    """
    if quantity < 1:
        raise OutOfStockError("Take at least one.")
    _hold(part, seen=seen)
    taken = Part.objects.filter(pk=part.pk, on_hand__gte=quantity).update(
        on_hand=F("on_hand") - quantity
    )
    if not taken:
        raise OutOfStockError(
            f"{part.number}: {part.on_hand} on the shelf, {quantity} asked for."
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
        what = f"delivery {delivery}" if delivery else "its deliveries"
        raise OutOfStockError(f"{part.number}: too few left in {what}.")
    part.refresh_from_db(fields=["on_hand"])
    return shares


@transaction.atomic
def put_back(
    part: Part, *, delivery: Delivery | None, quantity: int, by, why=""
) -> None:
    """Parts taken by mistake lie on the shelf again."""
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
    """Parts that nobody will use: broken, lost, out of date."""
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
    """The shelf is as counted. Returns how many more (or fewer) than was known.

    Missing ones are taken from the oldest deliveries, as they are used; found ones go
    to the deliveries that were drawn on last. A count that was right leaves a move of
    nothing: somebody looked.
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
    """Onto the shelf: into `first` as far as it has room, then the latest drawn on.

    More than were ever delivered become a delivery of their own, at the last cost.
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
