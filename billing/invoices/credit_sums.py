"""What a credit note comes to that takes back a bill, or a part of it.

It is what the bill came to before, less what it comes to without the lines taken back.
So any number of credit notes against one bill add up to it to the last cent, which
notes that are each calculated on their own would not. The price is that the tax of a
partial note may be a cent beside its rate times its net.
"""

from collections.abc import Sequence
from decimal import Decimal

from shopdesk import money


def credit_sums(
    stood: Sequence[money.TaxedLine],
    *,
    back: Sequence[Decimal],
    places: int,
    prices_include_tax: bool,
) -> money.Totals:
    """The totals, none above zero, of taking `back` so much of each line that `stood`.

    Lines of which nothing is taken back are not in it.
    """
    left = [
        money.TaxedLine(line.quantity - gone, line.price, line.rate, line.category)
        for line, gone in zip(stood, back, strict=True)
    ]
    before, after = (
        money.totals(lines, places=places, prices_include_tax=prices_include_tax)
        for lines in (stood, left)
    )
    touched = {
        (line.category, line.rate)
        for line, gone in zip(stood, back, strict=True)
        if gone
    }
    still = {(group.category, group.rate): group for group in after.groups}
    groups = []
    for group in before.groups:
        key = (group.category, group.rate)
        if key in touched:
            rest = still[key]
            groups.append(
                money.TaxGroup(
                    *key, rest.net - group.net, rest.tax - group.tax, group.reasons
                )
            )
    amounts = zip(before.lines, after.lines, back, strict=True)
    return money.Totals(
        tuple(now - was for was, now, gone in amounts if gone),
        tuple(groups),
        after.net - before.net,
        after.tax - before.tax,
        after.gross - before.gross,
    )
