"""The tax on a line: its kind in the shop's words, its category, its rate.

Categories are those of UNCL 5305 as EN 16931 uses them. Which of them a shop may or
must use is for its local rules.
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
    """What holds for one kind of tax on a day; `rate` in percent.

    `reason` stands on the paper where no tax is charged.
    """

    kind: str
    rate: Decimal
    reason: str = ""

    @property
    def category(self) -> str:
        return CATEGORY[self.kind]


UNSAID = {
    STANDARD: Tax(STANDARD, Decimal(20)),
    ZERO: Tax(ZERO, Decimal(0)),
    EXEMPT: Tax(EXEMPT, Decimal(0), "Exempt from tax"),
    REVERSE: Tax(REVERSE, Decimal(0), "Reverse charge"),
    OUTSIDE: Tax(OUTSIDE, Decimal(0), "Not subject to tax"),
}
"""Until the shop says otherwise; of a reduced rate nothing can be known."""


def exemption_reason(kind: str) -> str:
    """What a paper says where no tax is charged and the shop has no words for it."""
    return UNSAID[kind].reason if kind in UNSAID else ""
