"""What a part costs the customer."""

from decimal import ROUND_HALF_UP, Decimal


def part_price(cost: Decimal, *, fixed: Decimal | None, markup: Decimal) -> Decimal:
    """The price of one: the fixed price where there is one, else cost with `markup` %.

    Rounded to the cent, halves up.
    """
    if fixed is not None:
        return fixed
    return (cost * (100 + markup) / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
