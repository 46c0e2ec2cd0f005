"""The comeback report on paper."""

from datetime import datetime, time

from django.utils import timezone

from repairs.comebacks.forest import forest
from repairs.comebacks.record import Record
from shopdesk.printing import render_pdf
from shopdesk.shop.models import Shop


def report_pdf(record: Record, *, shop: Shop) -> bytes:
    """The table of that day with its picture and its sentences, as PDF."""
    midnight = datetime.combine(record.as_of, time(), timezone.get_current_timezone())
    picture = forest(record.rows[:24], limit=record.table.limit)
    return render_pdf(
        "repairs/comebacks/report.html",
        {"record": record, "shop": shop, "forest": picture},
        size=shop.paper,
        made_at=midnight,
    )
