"""Count the till and close its day."""

from datetime import date
from decimal import Decimal

from django.db import transaction

from billing.day_close.papers import day_paper
from billing.day_close.queries import open_till
from billing.invoices.models import DayClose, lock_till
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day as format_day
from shopdesk.look.shop_formats import moment, money
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@transaction.atomic
def close_day(
    day: date,
    *,
    counted: Decimal,
    stamp: Stamp,
    opening: Decimal | None = None,
    cash_removed: Decimal = Decimal(0),
    why: str = "",
) -> DayClose:
    """Close `day` and all days before it with the cash that was counted.

    `opening` is the cash in the till before the first closing; after that it is the
    last closing float. Later payments are recorded for the next day.
    """
    lock_till()
    shop = Shop.current()
    _check_day(day, on=stamp.on)
    close, _ = open_till(day=day, shop=shop)
    if close.opening is None:
        close.opening = opening or Decimal(0)
    close.counted, close.cash_removed, close.why = counted, cash_removed, why.strip()
    close.closed_at, close.closed_by = stamp.at, stamp.by
    _check_count(close, shop=shop)
    close.keep(day_paper(close, shop=shop))
    close.save(force_insert=True)
    return close


def _check_day(day: date, *, on: date) -> None:
    last = DayClose.last()
    if last and day <= last.day:
        by = f" by {last.closed_by}" if last.closed_by else ""
        raise RefusedError(
            f"The till for {format_day(last.day)} was already closed{by} on"
            f" {moment(last.closed_at)}. New payments are recorded for the next day."
        )
    if day > on:
        raise RefusedError("The date is in the future. Enter today or an earlier date.")


def _check_count(close: DayClose, *, shop: Shop) -> None:
    written_in = close.written_in(shop)
    if close.difference and not close.why:
        expected = money(close.expected, written_in)
        deviation = "too much" if close.difference > 0 else "missing"
        raise RefusedError(
            f"{money(abs(close.difference), written_in)} is {deviation}: {expected} is"
            " expected. Count again or enter a reason."
        )
    if close.cash_removed > close.counted:
        raise RefusedError("The cash removed exceeds the cash counted.")
