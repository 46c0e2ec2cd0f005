"""What a repair costs the shop."""

from collections.abc import Iterable
from decimal import Decimal

from shopdesk.money import rounded


def repair_cost(
    minutes: int,
    *,
    job_minutes: int = 0,
    repairs: int = 1,
    hourly_cost: Decimal,
    parts: Iterable[tuple[Decimal, int]] = (),
) -> Decimal:
    """Return labour, rounded half up to 1/10000, plus parts of (unit cost, quantity).

    `job_minutes` were booked on the whole job, which has so many `repairs`: each bears
    an equal share of them.
    """
    labour = (minutes + Decimal(job_minutes) / repairs) * hourly_cost / 60
    spent = (cost * quantity for cost, quantity in parts)
    return sum(spent, rounded(labour, places=4))
