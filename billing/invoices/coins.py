"""Cash rounding: amounts that can be paid in coins where the smallest are gone."""

from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import round_to_step, rounded


class CashRoundingError(Exception):
    """Raised for an amount that cannot be paid in coins."""


@dataclass(frozen=True)
class CashAmount:
    """The money that changes hands, and the rounding that settles the rest."""

    amount: Decimal
    rounding: Decimal = Decimal(0)

    @property
    def settles(self) -> Decimal:
        return self.amount + self.rounding


def round_to_coins(amount: Decimal, *, step: Decimal, places: int) -> Decimal:
    """Return the nearest amount that can be paid in coins; a step of 0 leaves it."""
    return rounded(round_to_step(amount, step=step), places=places)


def pay_in_coins(
    amount: Decimal, *, due: Decimal, step: Decimal, places: int
) -> CashAmount:
    """Return what changes hands for `amount` of cash; both are negative for a refund.

    Whoever pays all that is due, exactly or to the next coin, has paid all of it.

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
