"""What the customer is told when the device leaves."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from repairs.faults.cautions import SHIPPING, SWOLLEN_BATTERY, Caution
from repairs.faults.models import Hazard
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from shopdesk.shop.models import Shop


@dataclass
class Told:
    """One repair in plain words: what was wrong, what was done, what is promised."""

    repair: Repair
    days: int | None
    until: date | None

    @property
    def is_fixed(self) -> bool:
        return self.repair.outcome == states.FIXED


def repairs_told(job: Job, *, on: date, shop: Shop) -> list[Told]:
    """The repairs of a job; before it is handed back with the cover it would get."""
    return [
        Told(repair, *_promise(job, repair, on, shop))
        for repair in job.repairs.select_related("fault", "fix")
    ]


def _promise(job: Job, repair: Repair, on: date, shop: Shop):
    if repair.warranty_until or repair.outcome != states.FIXED:
        return repair.warranty_days, repair.warranty_until
    promise = repair.promise(on=on, shop=shop, decision=job.decision)
    return promise.days, promise.until


@dataclass
class PostCautions:
    """What must be observed before the device is shipped."""

    swollen: bool
    battery: bool
    of_swollen: ClassVar[Caution] = SWOLLEN_BATTERY
    of_shipping: ClassVar[str] = SHIPPING

    def __bool__(self) -> bool:
        return self.swollen or self.battery


def post_cautions(job: Job) -> PostCautions:
    """What is known of its battery, should it go by post."""
    hazards = {
        hazard
        for repair in job.repairs.select_related("fault", "fix")
        for hazard in (repair.fault.hazard, repair.fix.hazard if repair.fix else "")
    }
    return PostCautions(
        swollen=job.has_swollen_battery, battery=Hazard.BATTERY in hazards
    )
