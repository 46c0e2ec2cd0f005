"""What the pages of the fault book ask for."""

from repairs.faults.models import Fault


def fixes(fault: Fault):
    """The fixes of a fault, those in use first, with their usual parts."""
    found = fault.fixes.prefetch_related("usual_parts__part")
    return found.order_by("is_retired", "code")


def found_on(fault: Fault):
    """The repairs of jobs where it was found, the latest first.

    Jobs stand above the fault book: they are reached backwards, by name alone.
    """
    return fault.repairs.select_related("job__device__model", "fix").order_by(
        "-job__booked_in_on", "-id"
    )
