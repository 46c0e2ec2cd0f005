"""The papers of the counter: the claim slip and the label. No access code on either."""

from repairs.intake.qr import qr_code
from repairs.jobs.models import Job
from shopdesk.printing import render_pdf
from shopdesk.shop.models import Shop


def slip_pdf(job: Job) -> bytes:
    """What the customer takes home, on the shop's paper."""
    return _pdf("slip", job, size=Shop.current().paper)


def label_pdf(job: Job, *, size: str) -> bytes:
    """What sticks to the device, `size` being width x height of the roll."""
    return _pdf("label", job, size=size)


def _pdf(name: str, job: Job, *, size: str) -> bytes:
    taken_in = job.steps.order_by("id").last()
    return render_pdf(
        f"repairs/intake/{name}.html",
        {"job": job, "qr": qr_code(job.label_code)},
        size=size,
        made_at=taken_in.made_at,
    )
