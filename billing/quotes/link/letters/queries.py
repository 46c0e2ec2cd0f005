"""What is owed where nothing is mended."""

from datetime import date
from decimal import Decimal

from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.shop.models import Shop


def fee_for_finding(job: Job, *, on: date, shop: Shop) -> money.Totals | None:
    """What the bill will ask for finding the fault, by the tax of the day `on`.

    None where nothing was agreed, or cover bears it.
    """
    if not job.fee_agreed or job.is_under_cover:
        return None
    held = shop.tax(on, job.customer.tax_kind)
    line = money.Line(Decimal(1), job.fee_agreed, held.rate, held.category, held.reason)
    return money.totals(
        [line], places=shop.places, prices_include_tax=shop.prices_include_tax
    )
