"""What handover pages show of the repairs of a job."""

from datetime import date

from django.db.models import Q

from repairs.faults.models import Hazard
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from shopdesk.shop.models import Shop


def repairs_with_warranty(job: Job, *, on: date, shop: Shop) -> list[Repair]:
    """Return the repairs of a job, before handover with the warranty they would get.

    That warranty is set on these objects only; it is not stored.
    """
    repairs = list(job.repairs.select_related("fault", "fix"))
    covered = job.covered_repairs
    for repair in repairs:
        if repair.outcome == states.FIXED and not repair.warranty_until:
            decision = job.decision if repair.pk in covered else None
            promise = repair.promise(on=on, shop=shop, decision=decision)
            repair.warranty_days, repair.warranty_until = promise.days, promise.until
    return repairs


def has_battery_hazard(job: Job) -> bool:
    """Whether the fault book warns of a battery in a repair of this job."""
    hazard = Q(fault__hazard=Hazard.BATTERY) | Q(fix__hazard=Hazard.BATTERY)
    return job.repairs.filter(hazard).exists()
