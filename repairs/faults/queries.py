"""Queries of the fault book’s pages."""

from repairs.faults.models import Fault


def fixes(fault: Fault):
    """The fixes of a fault with their usual parts, retired ones last."""
    found = fault.fixes.prefetch_related("usual_parts__part")
    return found.order_by("is_retired", "code")


def found_on(fault: Fault):
    """The repairs of a fault, latest first.

    `jobs` is a higher room, so its repairs are reached by their related name.
    """
    return fault.repairs.select_related("job__device__model", "fix").order_by(
        "-job__booked_in_on", "-id"
    )
