"""The agreed diagnosis fee as the customer pays it."""

from datetime import date
from decimal import Decimal

from repairs.jobs.models import Job
from shopdesk import money
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import FEE


def fee_with_tax(job: Job, *, on: date, shop: Shop) -> money.Totals | None:
    """Return the agreed diagnosis fee with the tax of the day.

    None if no fee was agreed, or if the job is under warranty.
    """
    if not job.agreed_diagnosis_fee or job.is_warranty_repair:
        return None
    tax = shop.tax_rules(on).of(FEE, job.customer.as_buyer)
    line = money.TaxedLine(
        Decimal(1), job.agreed_diagnosis_fee, tax.rate, tax.category, tax.reason
    )
    return money.totals(
        [line], places=shop.places, prices_include_tax=shop.prices_include_tax
    )
