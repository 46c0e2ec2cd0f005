"""Count the till, in each currency, and close its day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext

from billing.day_close.papers import day_paper
from billing.day_close.queries import open_tills
from billing.invoices.models import DayClose, lock_till
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day as format_day
from shopdesk.look.shop_formats import moment, money
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp


@dataclass(frozen=True)
class Count:
    """The cash of one currency that was counted, and what is done with it.

    `opening` is the cash in the till before the first closing; after that it is the
    last closing float.
    """

    counted: Decimal
    opening: Decimal | None = None
    cash_removed: Decimal = Decimal(0)
    why: str = ""


@transaction.atomic
def close_day(
    day: date,
    *,
    stamp: Stamp,
    others: Mapping[str, Count] | None = None,
    **count,
) -> DayClose:
    """Close `day` and all days before it with the cash that was counted.

    `count` is the `Count` of the shop's currency, `others` those of other currencies.
    Return the closing of the shop's currency. Later payments are recorded for the next
    day.
    """
    lock_till()
    shop = Shop.current()
    _check_day(day, on=stamp.on)
    counts = {**(others or {}), shop.currency: Count(**count)}
    tills = open_tills(day=day, shop=shop, counted=counts)
    for till in tills:
        if till.close.currency not in counts:
            raise RefusedError(
                gettext(
                    "There is also money in {currency}. Reload the page and"
                    " count it, too."
                ).format(currency=till.close.currency)
            )
        _close(till.close, counts[till.close.currency], shop=shop, stamp=stamp)
    return tills[0].close


def _close(close: DayClose, count: Count, *, shop: Shop, stamp: Stamp) -> None:
    if close.opening is None:
        close.opening = count.opening or Decimal(0)
    close.counted, close.cash_removed = count.counted, count.cash_removed
    close.why = count.why.strip()
    close.closed_at, close.closed_by = stamp.at, stamp.by
    _check_count(close, shop=shop)
    close.keep(day_paper(close, shop=shop))
    close.save(force_insert=True)


def _check_day(day: date, *, on: date) -> None:
    last = DayClose.last()
    if last and day <= last.day:
        closed = (
            gettext("The till for {day} was already closed by {who} on {at}.")
            if last.closed_by
            else gettext("The till for {day} was already closed on {at}.")
        )
        closed = closed.format(
            day=format_day(last.day), who=last.closed_by, at=moment(last.closed_at)
        )
        later = gettext("New payments are recorded for the next day.")
        raise RefusedError(f"{closed} {later}")
    if day > on:
        raise RefusedError(
            gettext("The date is in the future. Enter today or an earlier date.")
        )


def _check_count(close: DayClose, *, shop: Shop) -> None:
    written_in = close.written_in(shop)
    if close.difference and not close.why:
        differs = (
            gettext("{amount} is too much: {expected} is expected.")
            if close.difference > 0
            else gettext("{amount} is missing: {expected} is expected.")
        ).format(
            amount=money(abs(close.difference), written_in),
            expected=money(close.expected, written_in),
        )
        again = gettext("Count again or enter a reason.")
        raise RefusedError(f"{differs} {again}")
    if close.cash_removed > close.counted:
        raise RefusedError(gettext("The cash removed exceeds the cash counted."))
