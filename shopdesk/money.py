"""Money: rounding, totals and tax, in exact decimals.

Rules after EN 16931 (BR-CO-10 to BR-CO-17): a line is rounded once; tax is calculated
once per category and rate on the sum of net amounts, never per line; halves are rounded
up (away from zero); sums of rounded amounts are not rounded again.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

UNIT = 10_000
"""An amount is stored as a whole number of 1/10000 of the currency unit."""

LIMIT = Decimal("999999999999")
"""The largest amount, positive or negative."""


def rounded(amount: Decimal, *, places: int = 2) -> Decimal:
    """Return `amount` with `places` decimals, halves rounded away from zero."""
    return amount.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def piece_places(places: int) -> int:
    """Return the decimals that the price or cost of one piece may have.

    A cent is too coarse for small parts. A currency without cents, or with smaller
    units than a cent, is used as it is.
    """
    return 4 if places == 2 else places


def round_to_step(amount: Decimal, *, step: Decimal) -> Decimal:
    """Return `amount` rounded to a multiple of `step`; unchanged if `step` is 0."""
    if not step:
        return amount
    return (amount / step).quantize(Decimal(1), rounding=ROUND_HALF_UP) * step


@dataclass(frozen=True)
class TaxedLine:
    """One line of a quote or invoice, as far as totals need it.

    `price` is the unit price, including tax if the shop's prices do. `category` is the
    tax category (UNCL 5305: S, Z, E, AE, O), `rate` in percent, `reason` why it is 0.
    """

    quantity: Decimal
    price: Decimal
    rate: Decimal
    category: str = "S"
    reason: str = ""


@dataclass(frozen=True)
class TaxGroup:
    """All lines of one tax category and rate; `reasons` for no tax, if any."""

    category: str
    rate: Decimal
    net: Decimal
    tax: Decimal
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Totals:
    """The totals of a document. `lines` are the rounded amounts of its lines."""

    lines: tuple[Decimal, ...]
    groups: tuple[TaxGroup, ...]
    net: Decimal
    tax: Decimal
    gross: Decimal


def line_amount(line: TaxedLine, *, places: int = 2) -> Decimal:
    """Return price times quantity, rounded once (EN 16931 BT-131)."""
    return rounded(line.price * line.quantity, places=places)


def totals(
    lines: Iterable[TaxedLine], *, places: int = 2, prices_include_tax: bool = False
) -> Totals:
    """Return the totals of `lines`, with tax calculated once per category and rate.

    If prices include tax, the gross total of each group is the sum of its lines and tax
    is calculated from it, so that the customer pays exactly the prices quoted.
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
