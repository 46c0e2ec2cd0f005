"""The month as it was asked for, kept while nothing it is made from has changed."""

from dataclasses import replace
from datetime import date
from hashlib import sha256

from django.core.cache import cache
from django.db.models import BigIntegerField, Count, F, Max, Sum, Value
from django.db.models.functions import Cast

from repairs.comebacks.asked import Asked
from repairs.comebacks.context import fingerprint, record_of, repairs_asked
from repairs.comebacks.month.months import month_before
from repairs.comebacks.month.named import Named
from repairs.comebacks.month.queries import EVERY, Some, groups_by, month_context
from repairs.customers.models import Device
from repairs.jobs.models import PartUsed, Repair
from repairs.stock.models import Delivery, Supplier
from shopdesk.shop.models import Shop

DAY = 24 * 3600
PLACES = 12  # months and lists of groups kept at once
LAPS, SIZE = 9973, 1_000_003  # weights repeat after so many; amounts are below this


def month_of(asked: Asked, *, shop: Shop) -> dict:
    """All that the page and the paper show, reckoned anew only if anything changed."""

    def reckoned():
        then = replace(asked, as_of=month_before(asked.as_of))
        return month_context(
            as_of=asked.as_of,
            within=asked.within,
            shop=shop,
            record=record_of(asked, shop=shop),
            before=record_of(then, shop=shop),
            some=_some(asked, then, shop) if asked.is_narrowed else EVERY,
        )

    return _kept(f"month {asked}", shop, reckoned)


def _some(asked: Asked, then: Asked, shop: Shop) -> Some:
    return Some(
        only=repairs_asked(asked),
        now=record_of(asked.of_all, shop=shop).table,
        then=record_of(then.of_all, shop=shop).table,
        asked=asked.in_address,
    )


def groups_of(*, as_of: date, within: int, shop: Shop) -> list[Named]:
    """Deliveries, models and board revisions, what matters first."""

    def reckoned():
        record = record_of(Asked(as_of=as_of, within=within), shop=shop)
        return groups_by(record, within=within)

    return _kept(f"groups {as_of} {within}", shop, reckoned)


def _kept(what: str, shop: Shop, reckoned):
    seen = f"{what} {fingerprint(shop)} {_of_things()} {shop.currency}"
    place = f"month-{int(sha256(what.encode()).hexdigest(), 16) % PLACES}"
    found = cache.get(place)
    if found is None or found[0] != seen:
        found = (seen, reckoned())
        cache.set(place, found, DAY)
    return found[1]


def _of_reserves() -> dict:
    """What stands on record of them, each with a weight so that no two swap unseen."""
    amount = Cast("reserve", BigIntegerField()) % Value(SIZE, BigIntegerField())
    weight = F("id") % Value(LAPS, BigIntegerField()) + Value(1, BigIntegerField())
    return Repair.objects.order_by().aggregate(
        rows=Count("reserve"), sum=Sum(amount * weight, output_field=BigIntegerField())
    )


def _of_things() -> str:
    """A short text for all that tells deliveries and boards apart."""
    parts = [
        PartUsed.objects.order_by().aggregate(
            Count("id"), Max("id"), Sum("delivery_id"), Sum("repair_id")
        ),
        _of_reserves(),
        list(
            Delivery.objects.order_by("id").values_list(
                "id", "part_id", "supplier_id", "lot", "received_on"
            )
        ),
        list(Supplier.objects.order_by("id").values_list("id", "name")),
        list(
            Device.objects.exclude(board_revision="")
            .values("model_id", "board_revision")
            .annotate(number=Count("id"), sum=Sum("id"))
            .order_by("model_id", "board_revision")
        ),
    ]
    return sha256(repr(parts).encode()).hexdigest()
