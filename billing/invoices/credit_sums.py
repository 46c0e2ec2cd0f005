"""The totals of a credit note for an invoice, or for part of it.

They are the difference between the totals of the invoice before and after the credit.
So any number of credit notes on one invoice add up to it to the last cent; separately
calculated notes would not. In return, the tax of a partial note may differ by a cent
from its rate times its net.
"""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from shopdesk import money


def credit_sums(
    lines: Sequence[money.TaxedLine],
    *,
    back: Sequence[Decimal],
    places: int,
    prices_include_tax: bool,
) -> money.Totals:
    """Return the totals (at most 0) of crediting the quantity `back` of each line.

    Lines of which nothing is credited are left out.
    """
    remaining = [
        replace(line, quantity=line.quantity - quantity)
        for line, quantity in zip(lines, back, strict=True)
    ]
    before, after = (
        money.totals(sold, places=places, prices_include_tax=prices_include_tax)
        for sold in (lines, remaining)
    )
    credited = [
        (line.category, line.rate)
        for line, quantity in zip(lines, back, strict=True)
        if quantity
    ]
    groups = tuple(
        replace(was, net=now.net - was.net, tax=now.tax - was.tax)
        for was, now in zip(before.groups, after.groups, strict=True)
        if (was.category, was.rate) in credited
    )
    amounts = zip(before.lines, after.lines, back, strict=True)
    return money.Totals(
        tuple(now - was for was, now, quantity in amounts if quantity),
        groups,
        after.net - before.net,
        after.tax - before.tax,
        after.gross - before.gross,
    )
