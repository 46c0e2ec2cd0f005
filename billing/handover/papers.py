"""The warranty certificate and the packing slip."""

from datetime import date, datetime

from billing.handover.models import Parcel
from billing.handover.queries import repairs_with_warranty
from billing.handover.shipping import SOUND, TAKEN_OUT
from repairs.faults.cautions import BATTERY_IN_PARCEL, BATTERY_REMOVED
from repairs.jobs.models import Job
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop

CAUTION_OF = {SOUND: BATTERY_IN_PARCEL, TAKEN_OUT: BATTERY_REMOVED}
"""What the packing slip says about a battery."""


def warranty_certificate(
    job: Job, *, on: date, terms: str, shop: Shop, made_at: datetime
) -> bytes | None:
    """Return the repairs under warranty and the terms; None without any.

    `on` is the day of handover.
    """
    repairs = repairs_with_warranty(job, on=on, shop=shop)
    covered = [repair for repair in repairs if repair.warranty_until]
    if not covered:
        return None
    return render_pdf(
        "billing/handover/warranty_certificate.html",
        {
            "shop": shop,
            "job": job,
            "repairs": covered,
            "terms": terms,
        },
        size=shop.paper,
        made_at=made_at,
    )


def packing_slip(parcel: Parcel, *, shop: Shop, made_at: datetime) -> bytes:
    """Render the slip in the parcel; its address fits a window envelope."""
    return render_pdf(
        "billing/handover/packing_slip.html",
        {
            "shop": shop,
            "parcel": parcel,
            "job": parcel.job,
            "caution": CAUTION_OF.get(parcel.battery, ""),
        },
        size=shop.paper,
        made_at=made_at,
    )
