"""Labels for bins and bags of parts: their code finds the part where it is scanned."""

from collections.abc import Iterable
from datetime import datetime

from repairs.stock.models import Part
from shopdesk.look.qr import qr_code
from shopdesk.papers.render import SCREENS, render_pdf

SIZES = ("62x29", "89x36")
"""Sizes of the label roll, width x height in mm."""
MAX_LABELS = 200


def render_labels(parts: Iterable[Part], *, size: str, made_at: datetime) -> bytes:
    """Return a PDF with a label a page; the code is the part's own number."""
    labels = [(part, qr_code(part.number)) for part in parts]
    return render_pdf(
        "repairs/stock/label.html",
        {"labels": labels, "size": size},
        size=size,
        made_at=made_at,
        language=SCREENS,
    )
