"""The icon before the word of a state, so that no meaning depends on colour.

Shapes are drawn in a box of 12 by 12: a line and a filled part, each an SVG path.
"""

from typing import NamedTuple

from shopdesk.plain_gettext import gettext_noop


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
    gettext_noop("expected"): "dots",
    gettext_noop("booked in"): "ring",
    gettext_noop("diagnosed"): "half",
    gettext_noop("quoted"): "diamond",
    gettext_noop("approved"): "tick",
    gettext_noop("declined"): "cross",
    gettext_noop("repaired"): "halfblock",
    gettext_noop("tested"): "full",
    gettext_noop("ready"): "block",
    gettext_noop("handed over"): "dash",
    # outcomes, and types of fixes
    gettext_noop("fixed"): "tick",
    gettext_noop("not fixed"): "cross",
    gettext_noop("no fault found"): "ring",
    gettext_noop("not repairable"): "cross",
    gettext_noop("not coded yet"): "dots",
    gettext_noop("imported"): "tick",
    gettext_noop("left out"): "cross",
    gettext_noop("lasting"): "block",
    gettext_noop("stopgap"): "halfblock",
    gettext_noop("performs like a stopgap"): "triangle",
    gettext_noop("lasts better than recorded"): "up",
    # the verdict on a pair, a delivery or a model
    gettext_noop("reliable"): "full",
    gettext_noop("borderline"): "half",
    gettext_noop("too many comebacks"): "triangle",
    gettext_noop("not enough repairs"): "dots",
    gettext_noop("as expected"): "full",
    # the month
    gettext_noop("above normal range"): "triangle",
    gettext_noop("below normal range"): "down",
    gettext_noop("within normal range"): "full",
    gettext_noop("complete"): "full",
    gettext_noop("incomplete"): "dots",
    gettext_noop("higher cost"): "up",
    gettext_noop("lower cost"): "down",
    # returns
    gettext_noop("return"): "back",
    gettext_noop("comeback"): "back",
    gettext_noop("no comeback"): "full",
    gettext_noop("in follow up"): "dots",
    gettext_noop("same fault"): "back",
    gettext_noop("new fault"): "ring",
    gettext_noop("handling damage"): "triangle",
    gettext_noop("not assessed"): "diamond",
    gettext_noop("in warranty"): "tick",
    gettext_noop("not in warranty"): "cross",
    # quotes, invoices, emails, readings, stock
    gettext_noop("draft"): "dots",
    gettext_noop("sent"): "diamond",
    gettext_noop("accepted"): "tick",
    gettext_noop("replaced"): "dash",
    gettext_noop("valid"): "full",
    gettext_noop("revoked"): "dash",
    gettext_noop("agreed"): "tick",
    gettext_noop("refused"): "cross",
    gettext_noop("withdrawn"): "dash",
    gettext_noop("expired"): "triangle",
    gettext_noop("no repair"): "dash",
    gettext_noop("issued"): "square",
    gettext_noop("open"): "half",
    gettext_noop("paid"): "full",
    gettext_noop("overdue"): "triangle",
    gettext_noop("credited"): "dash",
    gettext_noop("credit note"): "back",
    gettext_noop("refund due"): "triangle",
    gettext_noop("waiting"): "dots",
    gettext_noop("cost missing"): "dots",
    gettext_noop("to ask"): "diamond",
    gettext_noop("failed"): "triangle",
    gettext_noop("no backup"): "triangle",
    gettext_noop("old backup"): "triangle",
    gettext_noop("discarded"): "dash",
    gettext_noop("pass"): "tick",
    gettext_noop("fail"): "cross",
    gettext_noop("not collected"): "triangle",
    gettext_noop("low"): "triangle",
    gettext_noop("out of stock"): "triangle",
    gettext_noop("blocked"): "triangle",
    gettext_noop("retired"): "dash",
    # staff
    gettext_noop("active"): "tick",
    gettext_noop("invited"): "dots",
    gettext_noop("deactivated"): "cross",
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
