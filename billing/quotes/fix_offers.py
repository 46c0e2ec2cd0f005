"""The fixes that can be added to a quote: each with its price and record."""

from dataclasses import dataclass
from datetime import date

from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.comebacks.standing import Standing
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
    report = comeback_report(
        Scope(as_of=on, within=shop.comeback_period_days), shop=shop
    )
    covered = job.covered_repairs
    return [
        FixOffer(repair, option)
        for repair in job.repairs.select_related("fault").order_by("pk")
        if repair.outcome not in (states.NO_FAULT_FOUND, states.NOT_REPAIRABLE)
        and repair.pk not in covered
        for option in FixComparison(report, fault=repair.fault).options(shop=shop)
        if not option.fix.is_retired
    ]
