"""The icon before the word of a state, so that no meaning depends on colour.

Shapes are drawn in a box of 12 by 12: a line and a filled part, each an SVG path.
"""

from typing import NamedTuple


class Shape(NamedTuple):
    line: str
    fill: str = ""


RING = "M6 1.5a4.5 4.5 0 1 0 0 9a4.5 4.5 0 1 0 0-9z"

SHAPES: dict[str, Shape] = {
    "dots": Shape("M6 1.5v1M6 9.5v1M1.5 6h1M9.5 6h1M2.8 2.8l.7.7M8.5 8.5l.7.7"),
    "ring": Shape(RING),
    "half": Shape(RING, "M6 1.5a4.5 4.5 0 0 0 0 9z"),
    "full": Shape(RING, RING),
    "square": Shape("M1.5 1.5h9v9h-9z"),
    "block": Shape("M1.5 1.5h9v9h-9z", "M1.5 1.5h9v9h-9z"),
    "halfblock": Shape("M1.5 1.5h9v9h-9z", "M1.5 10.5l9-9v9z"),
    "diamond": Shape("M6 .8L11.2 6L6 11.2L.8 6z"),
    "tick": Shape("M1.2 6.5l3.3 3.5L10.8 2"),
    "cross": Shape("M2 2l8 8M10 2l-8 8"),
    "dash": Shape("M1 6h10"),
    "triangle": Shape(
        "M6 1.2L11.2 10.8H.8z", "M5.3 4.4h1.4L6.4 7.6h-.8zM5.4 8.4h1.2v1.2H5.4z"
    ),
    "up": Shape("", "M6 2L11 10H1z"),
    "down": Shape("", "M6 10L11 2H1z"),
    "back": Shape("M10.5 10V6.5a3 3 0 0 0-3-3H1.5M4.5.8L1.5 3.5l3 2.7"),
}

ICON_OF: dict[str, str] = {
    # jobs
    "expected": "dots",
    "booked in": "ring",
    "diagnosed": "half",
    "quoted": "diamond",
    "approved": "tick",
    "declined": "cross",
    "repaired": "halfblock",
    "tested": "full",
    "ready": "block",
    "handed over": "dash",
    # outcomes, and types of fixes
    "fixed": "tick",
    "not fixed": "cross",
    "no fault found": "ring",
    "not repairable": "cross",
    "not coded yet": "dots",
    "imported": "tick",
    "left out": "cross",
    "lasting": "block",
    "stopgap": "halfblock",
    "performs like a stopgap": "triangle",
    "lasts better than recorded": "up",
    # the verdict on a pair, a delivery or a model
    "reliable": "full",
    "borderline": "half",
    "too many comebacks": "triangle",
    "not enough repairs": "dots",
    "as expected": "full",
    # the month
    "above normal range": "triangle",
    "below normal range": "down",
    "within normal range": "full",
    "complete": "full",
    "incomplete": "dots",
    "higher cost": "up",
    "lower cost": "down",
    # returns
    "return": "back",
    "comeback": "back",
    "no comeback": "full",
    "in follow up": "dots",
    "same fault": "back",
    "new fault": "ring",
    "handling damage": "triangle",
    "not assessed": "diamond",
    "in warranty": "tick",
    "not in warranty": "cross",
    # quotes, invoices, emails, readings, stock
    "draft": "dots",
    "sent": "diamond",
    "accepted": "tick",
    "replaced": "dash",
    "valid": "full",
    "revoked": "dash",
    "agreed": "tick",
    "refused": "cross",
    "withdrawn": "dash",
    "expired": "triangle",
    "no repair": "dash",
    "issued": "square",
    "open": "half",
    "paid": "full",
    "overdue": "triangle",
    "credited": "dash",
    "credit note": "back",
    "refund due": "triangle",
    "waiting": "dots",
    "cost missing": "dots",
    "to ask": "diamond",
    "failed": "triangle",
    "no backup": "triangle",
    "old backup": "triangle",
    "discarded": "dash",
    "pass": "tick",
    "fail": "cross",
    "not collected": "triangle",
    "low": "triangle",
    "out of stock": "triangle",
    "blocked": "triangle",
    "retired": "dash",
    # staff
    "active": "tick",
    "invited": "dots",
    "deactivated": "cross",
}

ATTENTION: frozenset[str] = frozenset(
    {
        "too many comebacks",
        "performs like a stopgap",
        "above normal range",
        "overdue",
        "fail",
        "not collected",
        "low",
        "out of stock",
        "blocked",
        "failed",
        "no backup",
        "old backup",
        "not fixed",
    }
)
"""States that need attention: they are marked in red."""


def icon_for(word: str) -> str:
    """Return the name of the icon for the word of a state; a ring for unknown words."""
    return ICON_OF.get(word.lower().replace("_", " ").replace("-", " "), "ring")
