"""Cash where the smallest coins are gone: rounded to what can be handed over."""

from dataclasses import dataclass
from decimal import Decimal

from shopdesk.money import round_to_step, rounded


class CashRoundingError(Exception):
    """An amount of cash that can't be handed over."""


@dataclass(frozen=True)
class Handed:
    """What changes hands; with `rounding` it is what comes off the bill."""

    amount: Decimal
    rounding: Decimal


def in_coins(amount: Decimal, *, step: Decimal, places: int) -> Decimal:
    """The nearest amount that can be handed over; a step of 0 leaves it."""
    return rounded(round_to_step(amount, step=step), places=places)


def handed(amount: Decimal, *, left: Decimal, step: Decimal, places: int) -> Handed:
    """Cash of `amount` where `left` is open; both negative where money goes back.

    Whoever pays all that is open, exactly or to the next coin, has paid all of it. A
    part must be an amount that can be handed over.
    """
    if not step or not amount:
        return Handed(amount, Decimal(0))
    whole = in_coins(left, step=step, places=places)
    if amount in (left, whole):
        return Handed(whole, left - whole)
    if amount % step:
        raise CashRoundingError
    return Handed(amount, Decimal(0))
