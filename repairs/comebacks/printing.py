"""The comeback report on paper."""

from datetime import datetime, time

from django.utils import timezone

from repairs.comebacks.forest import forest
from repairs.comebacks.month.context import month_of
from repairs.comebacks.record import Record
from shopdesk.printing import render_pdf
from shopdesk.shop.models import Shop

IN_PICTURE = 30  # rows: with more the picture would not fit its page


def report_pdf(record: Record, *, shop: Shop) -> bytes:
    """The month and the table of that day, with pictures and in sentences, as PDF.

    The month is always of all repairs: a report of some is the table alone.
    """
    as_of, within = record.as_of, record.table.within
    midnight = datetime.combine(as_of, time(), timezone.get_current_timezone())
    month = {} if record.only else month_of(as_of=as_of, within=within, shop=shop)
    picture = forest(record.rows[:IN_PICTURE], limit=record.table.limit)
    return render_pdf(
        "repairs/comebacks/report.html",
        {
            **month,
            "record": record,
            "shop": shop,
            "forest": picture,
            "is_paper": True,
        },
        size=shop.paper,
        made_at=midnight,
    )
