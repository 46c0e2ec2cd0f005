"""The report of a closed day: a full page, and a slip for the receipt printer."""

from billing.day_close.queries import grand_total, takings
from billing.invoices.models import DayClose
from shopdesk.papers.render import document_language, render_pdf
from shopdesk.shop.models import Shop

ROLL = "80x200"
"""Usual roll of a receipt printer, in mm; longer text continues on another page."""


def day_paper(close: DayClose, *, shop: Shop, is_slip: bool = False) -> bytes:
    """Render the report as a page, or as a slip; closing the day fixed its contents."""
    with document_language(shop):
        rows = takings(close.since, close.day, currency=close.currency)
        total = grand_total(rows)
    return render_pdf(
        f"billing/day_close/{'slip' if is_slip else 'paper'}.html",
        {
            "shop": shop,
            "close": close,
            "rows": rows,
            "total": total,
            "written_in": close.written_in(shop),
        },
        size=ROLL if is_slip else shop.paper,
        made_at=close.closed_at,
    )
