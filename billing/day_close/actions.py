"""The till is counted and its day closed, once."""

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from billing.day_close.models import DayClose, lock_till
from billing.day_close.papers import day_paper
from billing.day_close.queries import open_till
from billing.invoices.refusals import Refused
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop
from shopdesk.templatetags.desk import day as day_said
from shopdesk.templatetags.desk import moment, money


@transaction.atomic
def close_day(
    day: date,
    *,
    counted: Decimal,
    on: date,
    at: datetime,
    by,
    opening: Decimal | None = None,
    cash_removed: Decimal = Decimal(0),
    why: str = "",
) -> DayClose:
    """Close `day` and all days before it with the cash that was counted.

    `opening` is what was in the till before the first closing; afterwards it is what
    stayed the last time. Money that comes later counts on the next day.
    """
    lock_till()
    shop = Shop.current()
    _check_day(day, on=on)
    till = open_till(day=day, shop=shop)
    close = DayClose(
        since=till.since,
        day=day,
        currency=till.currency,
        opening=(opening or Decimal(0)) if till.opening is None else till.opening,
        cash=till.cash,
        counted=counted,
        cash_removed=cash_removed,
        why=why.strip(),
        closed_at=at,
        closed_by=by,
    )
    written_in = Currency(till.currency, shop.locale)
    if close.difference and not close.why:
        much = "too much" if close.difference > 0 else "missing"
        raise Refused(
            f"{money(abs(close.difference), written_in)} is {much}: the till should"
            f" hold {money(close.expected, written_in)}. Count again, or say why."
        )
    if cash_removed > counted:
        raise Refused("No more can be taken out than was counted.")
    close.keep(day_paper(close, rows=till.rows, shop=shop, made_at=at))
    close.save(force_insert=True)
    return close


def _check_day(day: date, *, on: date) -> None:
    last = DayClose.last()
    if last and day <= last.day:
        who = last.closed_by or "somebody"
        raise Refused(
            f"The till was closed for {day_said(last.day)} by {who} on"
            f" {moment(last.closed_at)}, and stays as it was counted. What comes in"
            " since counts on the next day."
        )
    if day > on:
        raise Refused("That day is still to come.")
