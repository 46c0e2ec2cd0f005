"""The cover certificate and the parcel note."""

from datetime import datetime

from billing.handover.models import Parcel
from billing.handover.queries import Told
from billing.handover.shipping import SOUND, TAKEN_OUT
from repairs.faults.cautions import BATTERY_IN_PARCEL, BATTERY_REMOVED
from repairs.jobs.models import Job
from shopdesk.papers.render import render_pdf
from shopdesk.shop.models import Shop

CAUTION_OF = {SOUND: BATTERY_IN_PARCEL, TAKEN_OUT: BATTERY_REMOVED}
"""What the packing slip says of a battery."""


def warranty_certificate(
    job: Job, *, told: list[Told], words: str, shop: Shop, made_at: datetime
) -> bytes:
    """What is covered, until when, and what voids it."""
    return render_pdf(
        "billing/handover/cover.html",
        {
            "shop": shop,
            "job": job,
            "device": job.device,
            "customer": job.customer,
            "told": [one for one in told if one.until],
            "words": words,
        },
        size=shop.paper,
        made_at=made_at,
    )


def parcel_note(parcel: Parcel, *, shop: Shop, made_at: datetime) -> bytes:
    """What lies in the parcel with the device, and shows through a window."""
    return render_pdf(
        "billing/handover/parcel.html",
        {
            "shop": shop,
            "parcel": parcel,
            "job": parcel.job,
            "device": parcel.job.device,
            "caution": CAUTION_OF.get(parcel.battery, ""),
        },
        size=shop.paper,
        made_at=made_at,
    )
