"""Queries of the parts pages, and the current cost of parts."""

from collections.abc import Iterable
from decimal import Decimal

from repairs.stock.models import Delivery, Part
from repairs.stock.part_values import find_series, substitute_problems

MAX_SUBSTITUTES = 50
MAX_DELIVERIES = 100


def movements(part: Part):
    """The stock movements of a part, latest first."""
    return part.movements.select_related("delivery", "by").order_by("-id")


def deliveries(part: Part):
    """The latest deliveries of a part, latest first."""
    latest = part.deliveries.select_related("supplier").oldest_first().reverse()
    return latest[:MAX_DELIVERIES]


def uses(part: Part):
    """The repairs that used a part, latest first.

    `jobs` is a higher room, so its rows are reached by their related name.
    """
    return part.used_in.select_related("repair__job__device__model").order_by("-id")


def substitutes(part: Part) -> list[tuple[Part, list[str]]]:
    """Return possible substitutes, each with what is against it.

    Those entered for the part come first, then those of the same value that fit.
    """
    wanted = part.parsed_value
    named = list(part.substitutes.all()[:MAX_SUBSTITUTES])
    found = [
        (other, substitute_problems(other.parsed_value, wanted=wanted))
        for other in named
    ]
    if wanted.amount is None:
        return [(other, []) for other in named]
    same = Part.objects.valued(wanted).filter(is_retired=False).exclude(pk=part.pk)
    for other in same[:MAX_SUBSTITUTES]:
        if other not in named and not substitute_problems(
            other.parsed_value, wanted=wanted
        ):
            found.append((other, []))
    return found


def series(part: Part) -> str:
    """Return the series of preferred values that contains its value, if any."""
    amount = part.parsed_value.amount
    return find_series(amount[1]) if amount and part.parsed_value.at is None else ""


def current_costs(parts: Iterable[Part]) -> dict[int, Decimal]:
    """Return the unit cost of each part, by its id.

    It is that of the delivery used next, else of the last one. A part that was never
    delivered is missing.
    """
    last: dict[int, Decimal] = {}
    next_used: dict[int, Decimal] = {}
    for delivery in Delivery.objects.filter(part__in=list(parts)).oldest_first():
        last[delivery.part_id] = delivery.unit_cost
        if delivery.remaining:
            next_used.setdefault(delivery.part_id, delivery.unit_cost)
    return last | next_used
