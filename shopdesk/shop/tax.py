"""The tax on a line: its kind, its category, its rate.

Categories are those of UNCL 5305 as EN 16931 uses them. Local regulations decide which
of them a shop may or must use.
"""

from dataclasses import dataclass
from decimal import Decimal

STANDARD, REDUCED, ZERO = "standard", "reduced", "zero"
EXEMPT, REVERSE, OUTSIDE = "exempt", "reverse", "outside"

KINDS = [
    (STANDARD, "standard rate"),
    (REDUCED, "reduced rate"),
    (ZERO, "zero rate"),
    (EXEMPT, "exempt"),
    (REVERSE, "reverse charge"),
    (OUTSIDE, "not subject to tax"),
]
LABELS = dict(KINDS)

WITH_RATE = frozenset({STANDARD, REDUCED})
"""The others are always at 0 %."""

CATEGORY = {
    STANDARD: "S",
    REDUCED: "S",
    ZERO: "Z",
    EXEMPT: "E",
    REVERSE: "AE",
    OUTSIDE: "O",
}


@dataclass(frozen=True)
class Tax:
    """The tax of one kind on a day; `rate` in percent.

    `reason` is printed on documents without tax.
    """

    kind: str
    rate: Decimal
    reason: str = ""

    @property
    def category(self) -> str:
        return CATEGORY[self.kind]


DEFAULT_TAX = {
    STANDARD: Tax(STANDARD, Decimal(20)),
    ZERO: Tax(ZERO, Decimal(0)),
    EXEMPT: Tax(EXEMPT, Decimal(0), "Exempt from tax"),
    REVERSE: Tax(REVERSE, Decimal(0), "Reverse charge"),
    OUTSIDE: Tax(OUTSIDE, Decimal(0), "Not subject to tax"),
}
"""The defaults until the shop enters rates; there is none for a reduced rate."""


def exemption_reason(kind: str) -> str:
    """Printed on documents without tax if the shop has not entered a reason."""
    return DEFAULT_TAX[kind].reason if kind in DEFAULT_TAX else ""
