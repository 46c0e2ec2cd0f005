"""The slip of a closed day: on the shop's paper to be kept, and narrow for a roll."""

from datetime import datetime

from billing.day_close.models import DayClose
from billing.day_close.queries import takings
from billing.day_close.tally import Taken, in_all
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

ROLL = "80x200"
"""The usual roll of a till printer; what is longer goes on, on another piece."""


def day_paper(
    close: DayClose, *, rows: list[Taken], shop: Shop, made_at: datetime
) -> bytes:
    return _pdf("paper", close, rows=rows, shop=shop, size=shop.paper, made_at=made_at)


def day_slip(close: DayClose, *, shop: Shop) -> bytes:
    """The same for the roll; what it says was fixed when the day was closed."""
    rows = takings(close.since, close.day, currency=close.currency)
    at = close.closed_at
    return _pdf("slip", close, rows=rows, shop=shop, size=ROLL, made_at=at)


def _pdf(name: str, close: DayClose, *, rows, shop: Shop, size: str, made_at) -> bytes:
    return render_pdf(
        f"billing/day_close/{name}.html",
        {
            "shop": shop,
            "close": close,
            "rows": rows,
            "total": in_all(rows),
            "written_in": Currency(close.currency, shop.locale),
        },
        size=size,
        made_at=made_at,
        language=SCREENS,
    )
