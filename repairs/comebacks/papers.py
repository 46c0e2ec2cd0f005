"""The comeback report on paper."""

from datetime import datetime, time

from django.utils import timezone

from repairs.comebacks.asked import Asked
from repairs.comebacks.context import record_of
from repairs.comebacks.forest import forests
from repairs.comebacks.month.context import month_of
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.models import Shop

IN_PICTURE = 30  # rows
LINES = 10  # of the picture in one piece: a page rarely ends with more room than that


def report_pdf(asked: Asked, *, shop: Shop) -> bytes:
    """The month and the table that were asked for, in pictures and words, as PDF."""
    record = record_of(asked, shop=shop)
    midnight = datetime.combine(asked.as_of, time(), timezone.get_current_timezone())
    drawn = record.rows[:IN_PICTURE]
    return render_pdf(
        "repairs/comebacks/report.html",
        {
            **month_of(asked, shop=shop),
            "asked": asked,
            "record": record,
            "shop": shop,
            "drawn": len(drawn),
            "forests": forests(drawn, limit=record.table.limit, lines=LINES),
            "is_paper": True,
        },
        size=shop.paper,
        made_at=midnight,
        language=SCREENS,
    )
