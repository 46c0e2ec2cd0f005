"""The papers of the counter: the claim slip and the label. No access code on either."""

from datetime import UTC, datetime, time

from repairs.faults.cautions import cautions
from repairs.jobs.models import Job
from shopdesk.look.qr import qr_code
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.models import Shop

COMPLAINT = {"62x29": 54, "89x36": 70}
"""So many letters of the complaint fill two lines of a label of this size."""


def slip_pdf(job: Job) -> bytes:
    """What the customer takes home, on the shop's paper."""
    return _pdf("slip", job, size=Shop.current().paper)


def label_pdf(job: Job, *, size: str) -> bytes:
    """What sticks to the device, `size` being width x height of the roll."""
    return _pdf("label", job, size=size, language=SCREENS, cut=COMPLAINT[size])


def _pdf(name: str, job: Job, *, size: str, language: str = "", **facts) -> bytes:
    last = job.steps.order_by("id").last()
    # A job from a history file has a day but no moment.
    noon = datetime.combine(job.booked_in_on, time(12), UTC)
    qr = qr_code(job.label_code)
    return render_pdf(
        f"repairs/intake/{name}.html",
        {"job": job, "qr": qr, "size": size, "cautions": cautions(job=job), **facts},
        size=size,
        made_at=last.made_at if last else noon,
        language=language,
    )
