"""What a part costs the customer."""

from decimal import Decimal

from shopdesk.shop.markups import Markups


def part_price(cost: Decimal, *, fixed: Decimal | None, markups: Markups) -> Decimal:
    """The price of one: the fixed price where there is one, else cost with markup."""
    return markups.price(cost) if fixed is None else fixed
