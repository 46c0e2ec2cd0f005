"""The price of repairing some faults with some fixes, so that comebacks are covered."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from billing.pricing.comeback_price import Price, PricingRules, RepairCost, price_option
from repairs.faults.models import Fix, UsualPart
from repairs.jobs.models import Job, Repair
from repairs.knowledge.track_record import load_track_record
from repairs.stock.queries import current_costs
from shopdesk.shop.models import Shop
from shopdesk.shop.price_list import FEE, LABOUR, net_of, tax_difference

FixOfRepair = tuple[Repair, Fix | None]


def price_repairs(
    job: Job,
    fixes: list[FixOfRepair],
    *,
    warranty_days: int,
    list_price: Decimal,
    amounts: Iterable[tuple[str, Decimal]],
    on: date,
    shop: Shop,
) -> Price | None:
    """Return the price that covers expected comebacks; None if no fix is selected.

    `amounts` are what is sold besides labour, and for how much.
    """
    costs = repair_costs(fixes, warranty_days=warranty_days, on=on, shop=shop)
    if not costs:
        return None
    included = shop.included_tax(on, job.customer.as_buyer)
    shipping = return_shipping(job, shop=shop)
    fees = (job.agreed_diagnosis_fee or Decimal(0)) + shipping
    return price_option(
        costs,
        fees=net_of([(FEE, fees)], included_tax=included),
        list_price=list_price,
        tax_difference=tax_difference(amounts, included_tax=included),
        by=PricingRules(
            hourly_cost=shop.hourly_cost,
            parcel=shipping,
            margin=shop.target_margin,
            tax=included[LABOUR],
            step=shop.rounding_step,
            places=shop.places,
        ),
    )


def return_shipping(job: Job, *, shop: Shop) -> Decimal:
    """Return what it costs to ship the device back; 0 if the customer collects it."""
    return shop.return_shipping_price if job.came_by == Job.CameBy.POST else Decimal(0)


def repair_costs(
    fixes: list[FixOfRepair], *, warranty_days: int, on: date, shop: Shop
) -> list[RepairCost]:
    """Return minutes, parts and comeback risk within the warranty of each repair."""
    record = load_track_record(on=on, shop=shop)
    selected = [(repair, fix) for repair, fix in fixes if fix]
    usual_parts = list(
        UsualPart.objects.filter(fix__in=[fix for _, fix in selected]).select_related(
            "part"
        )
    )
    costs = current_costs({usual.part for usual in usual_parts})
    return [
        RepairCost(
            minutes=record.minutes(repair.fault_id, fix),
            parts=sum(
                (
                    (costs.get(usual.part_id) or Decimal(0)) * usual.quantity
                    for usual in usual_parts
                    if usual.fix_id == fix.pk
                ),
                Decimal(0),
            ),
            chance=record.chance(repair.fault_id, fix.pk, days=warranty_days),
        )
        for repair, fix in selected
    ]
