"""Cash rounding, where the smallest coins are not in use."""

from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import round_to_step, rounded


class CashRoundingError(Exception):
    """Raised for an amount that cannot be paid in coins."""


@dataclass(frozen=True)
class CashAmount:
    """The cash that changes hands, and the rounding that settles the rest."""

    amount: Decimal
    rounding: Decimal = Decimal(0)

    @property
    def settles(self) -> Decimal:
        return self.amount + self.rounding


def round_to_coins(amount: Decimal, *, step: Decimal, places: int) -> Decimal:
    """Return the nearest amount that can be paid in coins; unchanged if `step` is 0."""
    return rounded(round_to_step(amount, step=step), places=places)


def pay_in_coins(
    amount: Decimal, *, due: Decimal, step: Decimal, places: int
) -> CashAmount:
    """Return the cash that changes hands for `amount`; both are negative for a refund.

    Paying all that is due, exactly or rounded to the next coin, settles all of it.

    Raises: CashRoundingError for a part payment that is no multiple of `step`.
    """
    if not step or not amount:
        return CashAmount(amount)
    whole = round_to_coins(due, step=step, places=places)
    if amount in (due, whole):
        return CashAmount(whole, due - whole)
    if amount % step:
        raise CashRoundingError
    return CashAmount(amount)
