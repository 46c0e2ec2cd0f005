"""The revenue of each repair of a job, from the lines of its invoice."""

from collections.abc import Iterable, Sequence
from decimal import Decimal

from shopdesk.money import TaxedLine, line_amount, rounded


def allocate_net(
    lines: Iterable[tuple[int | None, TaxedLine]],
    *,
    repairs: Sequence[int],
    net: Decimal,
    places: int,
    prices_include_tax: bool,
) -> dict[int, Decimal]:
    """Return the part of `net` that belongs to each of `repairs`.

    A line names its repair. Lines without a repair (parts, fees) and rounding
    differences go to the first repair, so that the shares add up to `net`.
    """
    if not repairs:
        return {}
    shares = dict.fromkeys(repairs, Decimal(0))
    for repair, line in lines:
        if repair in shares and repair != repairs[0]:
            amount = line_amount(line, places=places)
            if prices_include_tax:
                amount = rounded(amount * 100 / (100 + line.rate), places=places)
            shares[repair] += amount
    shares[repairs[0]] = net - sum(shares.values())
    return shares
