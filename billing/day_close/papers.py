"""The report of a closed day: a page to keep, and a strip for the receipt printer."""

from billing.day_close.queries import MethodTotals, grand_total, takings
from billing.invoices.models import DayClose
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

ROLL = "80x200"
"""The usual roll of a receipt printer; what is longer goes on, on another piece."""


def day_paper(close: DayClose, *, rows: list[MethodTotals], shop: Shop) -> bytes:
    return _pdf("paper", close, rows=rows, shop=shop, size=shop.paper)


def day_slip(close: DayClose, *, shop: Shop) -> bytes:
    """The same for the roll; what it says was fixed when the day was closed."""
    rows = takings(close.since, close.day, currency=close.currency)
    return _pdf("slip", close, rows=rows, shop=shop, size=ROLL)


def _pdf(name: str, close: DayClose, *, rows, shop: Shop, size: str) -> bytes:
    return render_pdf(
        f"billing/day_close/{name}.html",
        {
            "shop": shop,
            "close": close,
            "rows": rows,
            "total": grand_total(rows),
            "written_in": Currency(close.currency, shop.locale),
        },
        size=size,
        made_at=close.closed_at,
        language=SCREENS,
    )
