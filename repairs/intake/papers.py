"""The documents of the counter: claim slip and label, without the access code."""

from datetime import UTC, datetime, time

from repairs.faults.cautions import cautions
from repairs.jobs.diagnosis_fee import fee_with_tax
from repairs.jobs.models import Job
from shopdesk.look.qr import qr_code
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.models import Shop

LABEL_SIZES = {"62x29": 54, "89x36": 70}
"""Sizes of the label roll, width x height in mm, with the characters that two lines of
the complaint hold."""


def render_slip_pdf(job: Job, *, shop: Shop) -> bytes:
    """Return the claim slip that the customer takes home."""
    fee = fee_with_tax(job, on=job.booked_in_on, shop=shop)
    return _pdf("slip", job, size=shop.paper, shop=shop, fee=fee)


def render_label_pdf(job: Job, *, size: str) -> bytes:
    """Return the label of the device."""
    return _pdf("label", job, size=size, language=SCREENS, cut=LABEL_SIZES[size])


def _pdf(name: str, job: Job, *, size: str, language: str = "", **facts) -> bytes:
    last = job.transitions.order_by("id").last()
    # An imported job has a date but no time.
    noon = datetime.combine(job.booked_in_on, time(12), UTC)
    qr = qr_code(job.label_code)
    return render_pdf(
        f"repairs/intake/{name}.html",
        {"job": job, "qr": qr, "size": size, "cautions": cautions(job=job), **facts},
        size=size,
        made_at=last.made_at if last else noon,
        language=language,
    )
