"""The tax on a line: its kind, its category, its rate, and which one is usual.

Categories are those of UNCL 5305 as EN 16931 uses them. Local regulations decide which
of them a shop may or must use.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from shopdesk.errors import IncompleteError
from shopdesk.plain_gettext import gettext, gettext_noop
from shopdesk.shop.price_list import FEE, LABOUR, PART

STANDARD, REDUCED, ZERO = "standard", "reduced", "zero"
EXEMPT, REVERSE, OUTSIDE = "exempt", "reverse", "outside"

KINDS = [
    (STANDARD, gettext_noop("standard rate")),
    (REDUCED, gettext_noop("reduced rate")),
    (ZERO, gettext_noop("zero rate")),
    (EXEMPT, gettext_noop("exempt")),
    (REVERSE, gettext_noop("reverse charge")),
    (OUTSIDE, gettext_noop("not subject to tax")),
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

SOLD = [
    (LABOUR, gettext_noop("labour")),
    (PART, gettext_noop("parts")),
    (FEE, gettext_noop("fees")),
]
"""What the usual tax may depend on, …"""

PRIVATE, BUSINESS = "private", "business"
ABROAD, EXEMPT_BODY = "abroad", "exempt"
BUYERS = [
    (PRIVATE, gettext_noop("private customers")),
    (BUSINESS, gettext_noop("businesses")),
    (ABROAD, gettext_noop("businesses in another country")),
    (EXEMPT_BODY, gettext_noop("exempt organisations")),
]
"""… and the kinds of customers that it may depend on."""


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

    @property
    def label(self) -> str:
        return LABELS[self.kind]


DEFAULT_TAX = {
    STANDARD: Tax(STANDARD, Decimal(20)),
    ZERO: Tax(ZERO, Decimal(0)),
    EXEMPT: Tax(EXEMPT, Decimal(0), gettext_noop("Exempt from tax")),
    REVERSE: Tax(REVERSE, Decimal(0), gettext_noop("Reverse charge")),
    OUTSIDE: Tax(OUTSIDE, Decimal(0), gettext_noop("Not subject to tax")),
}
"""The defaults until the shop enters rates; there is none for a reduced rate."""


def exemption_reason(kind: str) -> str:
    """Printed on documents without tax if the shop has not entered a reason."""
    return DEFAULT_TAX[kind].reason if kind in DEFAULT_TAX else ""


@dataclass(frozen=True)
class Buyer:
    """A customer as far as tax depends on it; `own_tax` goes before every rule."""

    kind: str = PRIVATE
    own_tax: str = ""


@dataclass(frozen=True)
class Rule:
    """The kind of tax on what is `sold` to a kind of `buyer`; blank: on all, to all.

    `reason` replaces the one of the kind of tax.
    """

    kind: str
    sold: str = ""
    buyer: str = ""
    reason: str = ""


@dataclass(frozen=True)
class TaxRules:
    """What the usual tax of a line is, on one day.

    A rule about the customer goes before one about what is sold, and both together
    before either; where there is none, the tax is of the kind `usual`.
    """

    usual: str
    in_force: Mapping[str, Tax]
    rules: tuple[Rule, ...] = ()

    def rule(self, sold: str, buyer: Buyer) -> Rule:
        """Return the rule that applies, made up from `usual` if there is none."""
        if buyer.own_tax:
            return Rule(buyer.own_tax)
        found = {(rule.sold, rule.buyer): rule for rule in self.rules}
        for key in ((sold, buyer.kind), ("", buyer.kind), (sold, ""), ("", "")):
            if key in found:
                return found[key]
        return Rule(self.usual)

    def of(self, sold: str, buyer: Buyer) -> Tax:
        """Return the tax on labour, a part or a fee sold to `buyer`.

        Raises: IncompleteError for a reduced rate that is not in force.
        """
        rule = self.rule(sold, buyer)
        tax = held(self.in_force, rule.kind)
        if rule.kind in WITH_RATE or not rule.reason:
            return tax
        return Tax(tax.kind, tax.rate, rule.reason)

    def kinds_for(self, buyer: Buyer) -> set[str]:
        """Return the kinds of tax that `buyer` may be charged."""
        return {self.rule(sold, buyer).kind for sold, _ in SOLD}


@dataclass(frozen=True)
class LineTaxes:
    """The taxes that may be chosen for a line of a customer's document."""

    rules: TaxRules
    buyer: Buyer

    @property
    def depends_on_sold(self) -> bool:
        """Whether labour, parts and fees do not all have the same usual tax."""
        found = [self.rules.rule(sold, self.buyer) for sold, _ in SOLD]
        return len({(rule.kind, rule.reason) for rule in found}) > 1

    @property
    def initial(self) -> str:
        """Return the kind of a new line; blank if it depends on what is sold."""
        if self.depends_on_sold:
            return ""
        return self.rules.rule(LABOUR, self.buyer).kind

    def chosen(self, kind: str, *, sold: str) -> Tax:
        """Return the tax of `kind`, with the usual reason; blank: the usual tax."""
        if kind in ("", self.rules.rule(sold, self.buyer).kind):
            return self.rules.of(sold, self.buyer)
        return held(self.rules.in_force, kind)


def held(in_force: Mapping[str, Tax], kind: str) -> Tax:
    """Return the tax of a kind that is in force; raise if it has no rate."""
    if kind not in in_force:
        raise IncompleteError(
            gettext(
                "The shop has no %(tax)s on that day. The owner can add it in the"
                " shop settings."
            )
            % {"tax": gettext(LABELS[kind])}
        )
    return in_force[kind]
