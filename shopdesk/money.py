"""Money: rounding, totals and tax, in exact decimals.

Rules after EN 16931 (BR-CO-10 to BR-CO-17): a line is rounded once; tax is calculated
once per category and rate on the summed nets, never per line; halves go up (away from
zero); sums of rounded amounts are not rounded again.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

UNIT = 10_000
"""An amount is kept as a whole number of 1/10000 of the currency unit."""

LIMIT = Decimal("999999999999")
"""No amount is larger, either way."""


def rounded(amount: Decimal, *, places: int = 2) -> Decimal:
    """`amount` with `places` decimals, halves away from zero."""
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def round_to_step(amount: Decimal, *, step: Decimal) -> Decimal:
    """`amount` rounded to the nearest multiple of `step`; a step of 0 leaves it."""
    if not step:
        return amount
    return (amount / step).quantize(Decimal(1), rounding=ROUND_HALF_UP) * step


@dataclass(frozen=True)
class TaxedLine:
    """One line of an offer or a bill, as far as totals need it.

    `price` is for one of `quantity`; net of tax, or with it where the shop's prices
    include tax. `category` is the tax category (UNCL 5305: S, Z, E, AE, O), `rate` in
    percent, `reason` why it is 0.
    """

    quantity: Decimal
    price: Decimal
    rate: Decimal
    category: str = "S"
    reason: str = ""


@dataclass(frozen=True)
class TaxGroup:
    """All lines of one tax category and rate; `reasons` say why there is no tax."""

    category: str
    rate: Decimal
    net: Decimal
    tax: Decimal
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Totals:
    """What stands under the lines. `lines` is the rounded amount of each line."""

    lines: tuple[Decimal, ...]
    groups: tuple[TaxGroup, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal


def line_amount(line: TaxedLine, *, places: int = 2) -> Decimal:
    """Price times quantity, rounded once (EN 16931 BT-131)."""
    return rounded(line.price * line.quantity, places=places)


def totals(
    lines: Iterable[TaxedLine], *, places: int = 2, prices_include_tax: bool = False
) -> Totals:
    """The totals of `lines`, tax once per category and rate.

    Where prices include tax the gross of each group is kept to the cent and its tax is
    split out of it, so that what the customer was told is what the customer pays.
    """
    lines = list(lines)
    amounts = tuple(line_amount(line, places=places) for line in lines)
    sums: dict[tuple[str, Decimal], Decimal] = {}
    reasons: dict[tuple[str, Decimal], dict[str, None]] = {}
    for line, amount in zip(lines, amounts, strict=True):
        key = (line.category, line.rate)
        sums[key] = sums.get(key, Decimal(0)) + amount
        if line.reason and not line.rate:
            reasons.setdefault(key, {})[line.reason] = None
    groups = []
    for (category, rate), amount in sorted(sums.items()):
        said = tuple(reasons.get((category, rate), ()))
        if prices_include_tax:
            tax = rounded(amount * rate / (100 + rate), places=places)
            groups.append(TaxGroup(category, rate, amount - tax, tax, said))
        else:
            tax = rounded(amount * rate / 100, places=places)
            groups.append(TaxGroup(category, rate, amount, tax, said))
    zero = rounded(Decimal(0), places=places)
    net = sum((group.net for group in groups), zero)
    tax = sum((group.tax for group in groups), zero)
    return Totals(amounts, tuple(groups), net, tax, net + tax)
