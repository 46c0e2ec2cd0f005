"""Moves of parts: each changes shelf, delivery and the record of moves, or none.

The database refuses to go below zero in one statement, so two people taking the last
part at once can't both have it.
"""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from repairs.stock.models import Delivery, OutOfStock, Part, StockMove, Supplier


def _move(part, delivery, kind, quantity, by, why=""):
    return StockMove.objects.create(
        part=part,
        delivery=delivery,
        kind=kind,
        quantity=quantity,
        by=by,
        why=why,
        moved_at=timezone.now(),
    )


@transaction.atomic
def receive(
    part: Part,
    *,
    quantity: int,
    unit_cost: Decimal,
    on: date,
    by,
    supplier: Supplier | None = None,
    lot: str = "",
) -> Delivery:
    """A delivery is on the shelf."""
    delivery = Delivery.objects.create(
        part=part,
        supplier=supplier,
        lot=lot,
        quantity=quantity,
        remaining=quantity,
        unit_cost=unit_cost,
        received_on=on,
    )
    _move(part, delivery, StockMove.Kind.RECEIVED, quantity, by)
    Part.objects.filter(pk=part.pk).update(on_hand=F("on_hand") + quantity)
    part.refresh_from_db(fields=["on_hand"])
    return delivery


@transaction.atomic
def take(
    part: Part,
    *,
    quantity: int,
    by,
    delivery: Delivery | None = None,
    kind: str = StockMove.Kind.USED,
    why: str = "",
) -> list[tuple[Delivery, int]]:
    """Take parts off the shelf: from `delivery`, else from the oldest ones first.

    Returns from which delivery how many came. Raises OutOfStock and moves nothing where
    there are too few.
    """
    if quantity < 1:
        raise OutOfStock("Take at least one.")
    taken = Part.objects.filter(pk=part.pk, on_hand__gte=quantity).update(
        on_hand=F("on_hand") - quantity
    )
    if not taken:
        part.refresh_from_db(fields=["on_hand"])
        raise OutOfStock(
            f"{part.number}: {part.on_hand} on the shelf, {quantity} asked for."
        )
    if delivery is not None:
        sources = [delivery]
    else:
        sources = list(
            Delivery.objects.select_for_update().filter(part=part, remaining__gt=0)
        )
    shares, missing = [], quantity
    for source in sources:
        share = min(missing, source.remaining)
        if share and Delivery.objects.filter(
            pk=source.pk, part=part, remaining__gte=share
        ).update(remaining=F("remaining") - share):
            _move(part, source, kind, -share, by, why)
            shares.append((source, share))
            missing -= share
        if not missing:
            break
    if missing:
        what = f"delivery {delivery}" if delivery else "its deliveries"
        raise OutOfStock(f"{part.number}: too few left in {what}.")
    part.refresh_from_db(fields=["on_hand"])
    return shares


@transaction.atomic
def put_back(
    part: Part, *, delivery: Delivery | None, quantity: int, by, why=""
) -> None:
    """Parts taken by mistake lie on the shelf again."""
    if delivery is not None:
        Delivery.objects.filter(pk=delivery.pk).update(
            remaining=F("remaining") + quantity
        )
    Part.objects.filter(pk=part.pk).update(on_hand=F("on_hand") + quantity)
    _move(part, delivery, StockMove.Kind.PUT_BACK, quantity, by, why)
    part.refresh_from_db(fields=["on_hand"])
