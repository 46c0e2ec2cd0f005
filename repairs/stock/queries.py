"""What the pages of the shelf ask for."""

from collections.abc import Iterable
from decimal import Decimal

from repairs.stock.models import Delivery, Part
from repairs.stock.part_values import series_of, substitute_problems

AT_MOST = 50


def moves(part: Part):
    """Every move of a part, the latest first."""
    return part.moves.select_related("delivery", "by").order_by("-id")


def uses(part: Part):
    """The repairs it went into, the latest first.

    Jobs stand above the shelf: they are reached backwards, by name alone.
    """
    return part.used_in.select_related("repair__job__device__model").order_by("-id")


def substitutes(part: Part) -> list[tuple[Part, list[str]]]:
    """Parts that could take its place, each with what speaks against it.

    Those the book names come first; then those of the same value that fit.
    """
    wanted = part.reading
    named = list(part.substitutes.all()[:AT_MOST])
    found = [
        (other, substitute_problems(other.reading, wanted=wanted)) for other in named
    ]
    if wanted.amount is None:
        return [(other, []) for other in named]
    same = Part.objects.valued(wanted).filter(is_retired=False).exclude(pk=part.pk)
    for other in same[:AT_MOST]:
        if other not in named and not substitute_problems(other.reading, wanted=wanted):
            found.append((other, []))
    return found


def series(part: Part) -> str:
    """The series of preferred values that it belongs to, if it has one value."""
    amount = part.reading.amount
    return series_of(amount[1]) if amount and part.reading.at is None else ""


def current_costs(parts: Iterable[Part]) -> dict[int, Decimal]:
    """What one of each part costs: from the delivery that is used next, else the last.

    A part that never came in is missing here.
    """
    last: dict[int, Decimal] = {}
    next_used: dict[int, Decimal] = {}
    for delivery in Delivery.objects.filter(part__in=list(parts)).oldest_first():
        last[delivery.part_id] = delivery.unit_cost
        if delivery.remaining:
            next_used.setdefault(delivery.part_id, delivery.unit_cost)
    return last | next_used
