"""What an e-invoice is made of: the bill as its record has it, and its sums.

The official rules let a tax be wrong by a whole unit of money and never multiply a line
out, so that the sums are right is proved here. A term of the standard EN 16931 is
called BT with its number.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_FLOOR, Decimal

from shopdesk import money
from shopdesk.errors import IncompleteError

STANDARD, ZERO, EXEMPT, REVERSE, OUTSIDE = "S", "Z", "E", "AE", "O"
"""Tax categories (UNCL 5305) that a repair may fall under."""

UNIT = "C62"
"""The unit of every line: one of it (UNECE Recommendation 20)."""

EUROPE = frozenset(
    """
    AT BE BG CH CY CZ DE DK EE EL ES FI FR GB HR HU IE IT LI LT LU LV MT NL NO PL PT RO
    SE SI SK XI
    """.split()
)
"""Letters that the VAT numbers of Europe begin with."""
LETTERS_GO_ON = frozenset({"AT", "CH", "ES", "FR"})
"""Where a further letter may stand before the figures."""

NOT_OF_ISO = frozenset("AC DG EA EU IC TA XK".split())
"""Codes in use for a land that ISO 3166 itself gives none."""


@dataclass(frozen=True)
class Party:
    """Seller or buyer. `address` as on an envelope, `country` by ISO 3166."""

    name: str
    address: str
    country: str
    tax_id: str = ""


@dataclass(frozen=True)
class EInvoiceLine:
    """What was sold, in the shop's own figures: `price` with or without tax."""

    text: str
    quantity: Decimal
    price: Decimal
    rate: Decimal
    category: str = STANDARD

    def as_money(self) -> money.TaxedLine:
        return money.TaxedLine(self.quantity, self.price, self.rate, self.category)


@dataclass(frozen=True)
class Bill:
    """An invoice, or with `credits` (number and day) the credit note that undoes one.

    The lines of a credit note are those of its invoice with their quantities negative;
    `tax` and `gross` are what the record says; `said` are its whole totals where they
    do not follow from the lines alone: those of a note that takes back a part. `paid`
    is what was paid by the time of the bill, `rounding` what that was more than asked
    for want of small coins. `reasons` says of a tax category why there is no tax.
    """

    number: str
    issued_on: date
    supplied_on: date
    seller: Party
    buyer: Party
    currency: str
    places: int
    lines: Sequence[EInvoiceLine]
    tax: Decimal
    gross: Decimal
    prices_include_tax: bool = False
    said: money.Totals | None = None
    due_on: date | None = None
    paid: Decimal = Decimal(0)
    rounding: Decimal = Decimal(0)
    means: str = ""
    credits: tuple[str, date] | None = None
    notes: Sequence[str] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)

    @property
    def sign(self) -> int:
        """A credit note gives in positive amounts what it takes back."""
        return -1 if self.credits else 1


@dataclass(frozen=True)
class WrittenLine:
    """A line as the standard has it: before tax, and no price below zero."""

    quantity: Decimal
    price: Decimal
    net: Decimal


@dataclass(frozen=True)
class Sums:
    """The amounts of the document, all before tax but `tax` and `gross` (BT-110, 112).

    `lines_net` is BT-106, `net` BT-109, `rounding` BT-114, `due` BT-115.
    """

    lines: tuple[WrittenLine, ...]
    groups: tuple[money.TaxGroup, ...]
    lines_net: Decimal
    net: Decimal
    tax: Decimal
    gross: Decimal
    paid: Decimal
    rounding: Decimal
    due: Decimal


def sums(bill: Bill) -> Sums:
    """What the bill comes to, which must be what its record says to the last digit."""
    totals = bill.said or money.totals(
        [line.as_money() for line in bill.lines],
        places=bill.places,
        prices_include_tax=bill.prices_include_tax,
    )
    lines = tuple(
        _written(line, net, bill)
        for line, net in zip(bill.lines, _nets(totals, bill), strict=True)
    )
    groups = tuple(
        money.TaxGroup(g.category, g.rate, bill.sign * g.net, bill.sign * g.tax)
        for g in totals.groups
    )
    zero = money.rounded(Decimal(0), places=bill.places)
    amounts = Sums(
        lines=lines,
        groups=groups,
        lines_net=sum((line.net for line in lines), zero),
        net=bill.sign * totals.net,
        tax=bill.sign * totals.tax,
        gross=bill.sign * totals.gross,
        paid=bill.paid,
        rounding=bill.rounding,
        due=bill.sign * totals.gross - bill.paid + bill.rounding,
    )
    if (totals.tax, totals.gross) != (bill.tax, bill.gross):
        raise IncompleteError(
            f"The lines of {bill.number} come to {totals.gross} with {totals.tax} tax,"
            f" its record says {bill.gross} with {bill.tax}: no e-invoice is created."
        )
    return amounts


def _nets(totals: money.Totals, bill: Bill) -> list[Decimal]:
    """The amounts of the lines before tax, summing to their groups.

    Where prices include tax the cents of a group go first to the amounts whose
    fractions of a cent are largest.
    """
    if not bill.prices_include_tax:
        return list(totals.lines)
    cent = Decimal(1).scaleb(-bill.places)
    nets = list(totals.lines)
    for group in totals.groups:
        members = [
            n
            for n, line in enumerate(bill.lines)
            if (line.category, line.rate) == (group.category, group.rate)
        ]
        exact = {n: totals.lines[n] * 100 / (100 + group.rate) for n in members}
        for n in members:
            nets[n] = exact[n].quantize(cent, rounding=ROUND_FLOOR)
        missing = int((group.net - sum(nets[n] for n in members)) / cent)
        # A note that takes back a part may want a cent less, or one more than lines.
        needy = sorted(members, key=lambda n: nets[n] - exact[n])
        for turn in range(abs(missing)):
            nets[needy[turn % len(needy)]] += cent if missing > 0 else -cent
    return nets


def _written(line: EInvoiceLine, net: Decimal, bill: Bill) -> WrittenLine:
    quantity = bill.sign * line.quantity
    price = _price(line, net, bill)
    if price < 0:
        quantity, price = -quantity, -price
    return WrittenLine(quantity=quantity, price=price, net=bill.sign * net)


def _price(line: EInvoiceLine, net: Decimal, bill: Bill) -> Decimal:
    """The price of one before tax, with the fewest decimals that come to `net`."""
    amount = money.line_amount(line.as_money(), places=bill.places)
    if not bill.prices_include_tax and amount == net:
        return line.price
    if not line.quantity:
        return money.rounded(line.price * 100 / (100 + line.rate), places=4)
    for places in range(bill.places, 12):
        price = money.rounded(net / line.quantity, places=places)
        if money.rounded(price * line.quantity, places=bill.places) == net:
            return price
    raise IncompleteError(f"“{line.text}”: the quantity is too large for an e-invoice.")


def check(bill: Bill) -> None:
    """Raise IncompleteError where the record has not what the standard asks for."""
    used = {line.category for line in bill.lines}
    if not bill.lines:
        raise IncompleteError("An e-invoice needs at least one line.")
    if not bill.seller.name.strip():
        raise IncompleteError(
            "Enter the shop’s name in the shop settings to create an e-invoice."
        )
    if not re.fullmatch("[A-Z]{2}", bill.seller.country):
        raise IncompleteError(
            "Enter the shop’s country in the shop settings to create an e-invoice."
        )
    if not _plain_id(bill.seller.tax_id):
        raise IncompleteError(
            "Enter the shop’s tax number in the shop settings to create an e-invoice."
        )
    if not bill.buyer.name.strip():
        raise IncompleteError(
            "An e-invoice needs the customer’s name. Enter it in the customer record."
        )
    if not re.fullmatch("[A-Z]{2}", bill.buyer.country):
        raise IncompleteError(
            "An e-invoice needs the customer’s country. Enter it in the customer"
            " record."
        )
    for party in (bill.seller, bill.buyer):
        if party.country in NOT_OF_ISO:
            raise IncompleteError(
                f"An e-invoice cannot use the country code {party.country}: it is not"
                " in ISO 3166."
            )
    if bill.places > 2:
        raise IncompleteError(
            f"An e-invoice has two decimals and {bill.currency} has {bill.places}: no"
            " e-invoice is possible in that currency."
        )
    if bill.paid and bill.credits:
        raise IncompleteError(
            "A credit note takes no payment. Record the refund on its invoice."
        )
    if OUTSIDE in used and len(used) > 1:
        raise IncompleteError(
            "An e-invoice cannot mix items that are subject to tax with items that are"
            " not."
        )
    if REVERSE in used and not vat_number(bill.buyer):
        raise IncompleteError(
            "Reverse charge needs the customer’s VAT number, with the country"
            " letters in front. Enter it in the customer record."
        )
    if EXEMPT in used and not bill.reasons.get(EXEMPT, "").strip():
        raise IncompleteError(
            "Enter the reason for the tax exemption. An e-invoice requires it."
        )
    for line in bill.lines:
        _check_tax(line)


def _check_tax(line: EInvoiceLine) -> None:
    if not line.text.strip():
        raise IncompleteError("Each line of an e-invoice needs a description.")
    if line.category not in (STANDARD, ZERO, EXEMPT, REVERSE, OUTSIDE):
        raise IncompleteError(
            f"“{line.text}” has an unsupported tax category: {line.category}."
        )
    if (line.category == STANDARD) != (line.rate > 0):
        raise IncompleteError(
            f"“{line.text}” has a tax rate of {line.rate:f} %, which does not go with"
            f" its tax category {line.category}."
        )


def _plain_id(tax_id: str) -> str:
    return re.sub("[^0-9A-Z*+]", "", tax_id.upper())


def vat_number(party: Party) -> str:
    """The VAT number of a party, if its tax number is one: it starts with a country."""
    number = _plain_id(party.tax_id)
    own = "EL" if party.country == "GR" else party.country
    letters, rest = number[:2], number[2:]
    elsewhere = letters in EUROPE and (rest[:1].isdigit() or letters in LETTERS_GO_ON)
    return number if (letters == own or elsewhere) and re.search("[0-9]", rest) else ""
