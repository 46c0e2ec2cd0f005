"""Substitutes, series and current costs of parts."""

from collections.abc import Iterable
from decimal import Decimal

from repairs.stock.models import Delivery, Part
from repairs.stock.part_values import find_series, substitute_problems

MAX_SUBSTITUTES = 50


def substitutes(part: Part) -> list[tuple[Part, list[str]]]:
    """Return possible substitutes, each with its problems.

    Those entered for the part come first, then those of the same value that fit.
    """
    wanted = part.parsed_value
    entered = list(part.substitutes.all()[:MAX_SUBSTITUTES])
    if wanted.amount is None:
        return [(other, []) for other in entered]
    equal = Part.objects.with_value(wanted).filter(is_retired=False)
    equal = equal.exclude(pk=part.pk)[:MAX_SUBSTITUTES]
    others = [other for other in equal if other not in entered]
    problems = {
        other: substitute_problems(other.parsed_value, wanted=wanted)
        for other in entered + others
    }
    fits = [other for other in others if not problems[other]]
    return [(other, problems[other]) for other in entered + fits]


def reserved(part: Part, *, except_job=None) -> tuple[int, list]:
    """Return how many are kept for jobs in work, and the reservations."""
    found = part.reservations.active().for_list()
    if except_job is not None:
        found = found.exclude(job=except_job)
    reservations = list(found)
    return sum(one.remaining for one in reservations), reservations


def shortage(part: Part, *, except_job=None) -> str:
    """Return which jobs lack the part now, as far as it is reserved for them.

    `except_job` is the one that has just taken it. Empty if there are enough.
    """
    count, waiting = reserved(part, except_job=except_job)
    if count <= part.on_hand:
        return ""
    jobs = ", ".join(f"{one.remaining} for job {one.job.number}" for one in waiting)
    return f"{part.number}: {part.on_hand} left in stock, but reserved: {jobs}."


def series(part: Part) -> str:
    """Return the series of preferred values that contains its value, if any."""
    amount = part.parsed_value.amount
    return find_series(amount[1]) if amount and part.parsed_value.at is None else ""


def current_costs(parts: Iterable[Part]) -> dict[int, Decimal]:
    """Return the unit cost of each part, by its id.

    It is that of the delivery used next, else of the last one; deliveries without a
    cost do not count. A part of which no cost is known is missing.
    """
    last_costs: dict[int, Decimal] = {}
    next_costs: dict[int, Decimal] = {}
    deliveries = Delivery.objects.filter(part__in=list(parts), unit_cost__isnull=False)
    for delivery in deliveries.oldest_first():
        last_costs[delivery.part_id] = delivery.unit_cost
        if delivery.remaining:
            next_costs.setdefault(delivery.part_id, delivery.unit_cost)
    return last_costs | next_costs
