"""What the customer is told when the device leaves."""

from datetime import date

from django.db.models import Q

from repairs.faults.models import Hazard
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from shopdesk.shop.models import Shop


def repairs_with_warranty(job: Job, *, on: date, shop: Shop) -> list[Repair]:
    """The repairs of a job; before its handover with the warranty they would get.

    That is set on these objects only, not stored.
    """
    repairs = list(job.repairs.select_related("fault", "fix"))
    for repair in repairs:
        if repair.outcome == states.FIXED and not repair.warranty_until:
            promise = repair.promise(on=on, shop=shop, decision=job.decision)
            repair.warranty_days, repair.warranty_until = promise.days, promise.until
    return repairs


def has_battery_hazard(job: Job) -> bool:
    """Whether the fault book warns of a battery in a repair of this job."""
    hazard = Q(fault__hazard=Hazard.BATTERY) | Q(fix__hazard=Hazard.BATTERY)
    return job.repairs.filter(hazard).exists()
