"""The fixes that can be added to a quote: each with its price and record."""

from dataclasses import dataclass
from datetime import date

from repairs.comebacks.standing import Standing, report_of
from repairs.jobs import states
from repairs.jobs.models import Job, Repair
from repairs.knowledge.fix_comparison import FixComparison, FixOption
from shopdesk.shop.models import Shop


@dataclass(frozen=True)
class FixOffer:
    repair: Repair
    option: FixOption

    @property
    def standing(self) -> Standing:
        return self.option.standing


def fix_offers(job: Job, *, on: date, shop: Shop) -> list[FixOffer]:
    """Return the fixes of each fault of the job, the lowest risk first."""
    report = report_of(on, shop=shop)
    return [
        FixOffer(repair, option)
        for repair in job.repairs.select_related("fault").order_by("pk")
        if repair.outcome not in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
        for option in FixComparison(report, fault=repair.fault).options(shop=shop)
        if not option.fix.is_retired
    ]
