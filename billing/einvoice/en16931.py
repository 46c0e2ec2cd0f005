"""The data of an e-invoice and its totals, after EN 16931.

The official validation rules accept a tax that is wrong by up to 1.00 and never
multiply quantity by price, so totals are checked here. BT numbers are those of the
standard's terms.
"""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_FLOOR, Decimal

from shopdesk import money
from shopdesk.errors import IncompleteError
from shopdesk.plain_gettext import gettext

STANDARD, ZERO, EXEMPT, REVERSE, OUTSIDE = "S", "Z", "E", "AE", "O"
"""Tax categories (UNCL 5305) that a repair may have."""

UNIT = "C62"
"""The unit of every line: one piece (UNECE Recommendation 20)."""

VAT_COUNTRIES = frozenset(
    """
    AT BE BG CH CY CZ DE DK EE EL ES FI FR GB HR HU IE IT LI LT LU LV MT NL NO PL PT RO
    SE SI SK XI
    """.split()
)
"""Country codes with which European VAT numbers begin."""
LETTER_AFTER_COUNTRY = frozenset({"AT", "CH", "ES", "FR"})
"""Countries in which another letter may follow the country code."""

NON_ISO_CODES = frozenset("AC DG EA EU IC TA XK".split())
"""Codes in use for places that have no code in ISO 3166."""


@dataclass(frozen=True)
class Party:
    """Seller or buyer. `address` as on an envelope, `country` by ISO 3166."""

    name: str
    address: str
    country: str
    tax_id: str = ""


@dataclass(frozen=True)
class EInvoiceLine:
    """One line of the invoice; `price` includes tax if the shop's prices do."""

    text: str
    quantity: Decimal
    price: Decimal
    rate: Decimal
    category: str = STANDARD

    def as_money(self) -> money.TaxedLine:
        return money.TaxedLine(self.quantity, self.price, self.rate, self.category)


@dataclass(frozen=True)
class EInvoiceData:
    """An invoice, or a credit note if `credits` (number and day of the invoice) is set.

    A credit note has the lines of its invoice with negative quantities. `tax` and
    `gross` are as stored. `stored_totals` has all totals where they do not follow from
    the lines: those of a partial credit note. `paid` is what was paid by the date of
    issue, `rounding` the cash rounding in it. `reasons` gives the reason for each
    category without tax.
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
    stored_totals: money.Totals | None = None
    due_on: date | None = None
    paid: Decimal = Decimal(0)
    rounding: Decimal = Decimal(0)
    means: str = ""
    credits: tuple[str, date] | None = None
    notes: Sequence[str] = ()
    reasons: Mapping[str, str] = field(default_factory=dict)

    @property
    def sign(self) -> int:
        """Return -1 for a credit note, whose amounts are positive in an e-invoice, else
        1.
        """
        return -1 if self.credits else 1


@dataclass(frozen=True)
class WrittenLine:
    """A line as the standard requires it: before tax, with a price of at least 0."""

    quantity: Decimal
    price: Decimal
    net: Decimal


@dataclass(frozen=True)
class Sums:
    """The totals of the document; only `tax` and `gross` (BT-110, 112) include tax.

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


def sums(invoice: EInvoiceData) -> Sums:
    """Return the totals of the invoice; raise if they differ from the stored ones."""
    totals = invoice.stored_totals or money.totals(
        [line.as_money() for line in invoice.lines],
        places=invoice.places,
        prices_include_tax=invoice.prices_include_tax,
    )
    lines = tuple(
        _written(line, net, invoice)
        for line, net in zip(invoice.lines, _nets(totals, invoice), strict=True)
    )
    groups = tuple(
        money.TaxGroup(g.category, g.rate, invoice.sign * g.net, invoice.sign * g.tax)
        for g in totals.groups
    )
    zero = money.rounded(Decimal(0), places=invoice.places)
    amounts = Sums(
        lines=lines,
        groups=groups,
        lines_net=sum((line.net for line in lines), zero),
        net=invoice.sign * totals.net,
        tax=invoice.sign * totals.tax,
        gross=invoice.sign * totals.gross,
        paid=invoice.paid,
        rounding=invoice.rounding,
        due=invoice.sign * totals.gross - invoice.paid + invoice.rounding,
    )
    if (totals.tax, totals.gross) != (invoice.tax, invoice.gross):
        raise IncompleteError(
            gettext(
                "The lines of {number} add up to {gross} with {tax} tax, but"
                " it was stored with {invoice_gross} and {invoice_tax} tax."
                " No e-invoice was created."
            ).format(
                number=invoice.number,
                gross=totals.gross,
                tax=totals.tax,
                invoice_gross=invoice.gross,
                invoice_tax=invoice.tax,
            )
        )
    return amounts


def _nets(totals: money.Totals, invoice: EInvoiceData) -> list[Decimal]:
    """Return the amount of each line before tax, adding up to their tax groups.

    If prices include tax, the remaining cents of a group go to the amounts with the
    largest fractions of a cent.
    """
    if not invoice.prices_include_tax:
        return list(totals.lines)
    cent = Decimal(1).scaleb(-invoice.places)
    nets = list(totals.lines)
    for group in totals.groups:
        members = [
            n
            for n, line in enumerate(invoice.lines)
            if (line.category, line.rate) == (group.category, group.rate)
        ]
        exact = {n: totals.lines[n] * 100 / (100 + group.rate) for n in members}
        for n in members:
            nets[n] = exact[n].quantize(cent, rounding=ROUND_FLOOR)
        missing = int((group.net - sum(nets[n] for n in members)) / cent)
        # A partial credit note may need a cent less, or more cents than it has lines.
        needy = sorted(members, key=lambda n: nets[n] - exact[n])
        for turn in range(abs(missing)):
            nets[needy[turn % len(needy)]] += cent if missing > 0 else -cent
    return nets


def _written(line: EInvoiceLine, net: Decimal, invoice: EInvoiceData) -> WrittenLine:
    quantity = invoice.sign * line.quantity
    price = _price(line, net, invoice)
    if price < 0:
        quantity, price = -quantity, -price
    return WrittenLine(quantity=quantity, price=price, net=invoice.sign * net)


def _price(line: EInvoiceLine, net: Decimal, invoice: EInvoiceData) -> Decimal:
    """Return the unit price before tax, with the fewest decimals that give `net`."""
    amount = money.line_amount(line.as_money(), places=invoice.places)
    if not invoice.prices_include_tax and amount == net:
        return line.price
    if not line.quantity:
        return money.rounded(line.price * 100 / (100 + line.rate), places=4)
    for places in range(invoice.places, 12):
        price = money.rounded(net / line.quantity, places=places)
        if money.rounded(price * line.quantity, places=invoice.places) == net:
            return price
    raise IncompleteError(
        gettext("“{text}”: the quantity is too large for an e-invoice.").format(
            text=line.text
        )
    )


def check(invoice: EInvoiceData) -> None:
    """Raise IncompleteError if something that the standard requires is missing."""
    used = {line.category for line in invoice.lines}
    if not invoice.lines:
        raise IncompleteError(gettext("An e-invoice needs at least one line."))
    if not invoice.seller.name.strip():
        raise IncompleteError(
            gettext(
                "Enter the shop’s name in the shop settings to create an e-invoice."
            )
        )
    if not re.fullmatch("[A-Z]{2}", invoice.seller.country):
        raise IncompleteError(
            gettext(
                "Enter the shop’s country in the shop settings to create an e-invoice."
            )
        )
    if not _plain_id(invoice.seller.tax_id):
        raise IncompleteError(
            gettext(
                "Enter the shop’s tax number in the shop settings to create an"
                " e-invoice."
            )
        )
    if not invoice.buyer.name.strip():
        raise IncompleteError(
            gettext(
                "An e-invoice needs the customer’s name. Enter it in the customer"
                " record."
            )
        )
    if not re.fullmatch("[A-Z]{2}", invoice.buyer.country):
        raise IncompleteError(
            gettext(
                "An e-invoice needs the customer’s country. Enter it in the customer"
                " record."
            )
        )
    for party in (invoice.seller, invoice.buyer):
        if party.country in NON_ISO_CODES:
            raise IncompleteError(
                gettext(
                    "An e-invoice cannot use the country code {country}: it is"
                    " not in ISO 3166."
                ).format(country=party.country)
            )
    if invoice.places > 2:
        raise IncompleteError(
            gettext(
                "E-invoices allow 2 decimals, but {currency} has {places}."
                " No e-invoice is possible in this currency."
            ).format(currency=invoice.currency, places=invoice.places)
        )
    if invoice.paid and invoice.credits:
        raise IncompleteError(
            gettext("A credit note takes no payment. Record the refund on its invoice.")
        )
    if OUTSIDE in used and len(used) > 1:
        raise IncompleteError(
            gettext(
                "An e-invoice cannot mix items that are subject to tax with items that"
                " are not."
            )
        )
    check_reverse_charge(used, invoice.buyer)
    if EXEMPT in used and not invoice.reasons.get(EXEMPT, "").strip():
        raise IncompleteError(
            gettext("Enter the reason for the tax exemption. An e-invoice requires it.")
        )
    for line in invoice.lines:
        _check_tax(line)


def check_reverse_charge(categories: Collection[str], buyer: Party) -> None:
    """Raise if tax is left to a buyer who has no VAT number, on paper as well."""
    if REVERSE in categories and not vat_number(buyer):
        raise IncompleteError(
            gettext(
                "Reverse charge needs the customer’s VAT number, with the country"
                " letters in front. Enter it in the customer record."
            )
        )


def _check_tax(line: EInvoiceLine) -> None:
    if not line.text.strip():
        raise IncompleteError(gettext("Each line of an e-invoice needs a description."))
    if line.category not in (STANDARD, ZERO, EXEMPT, REVERSE, OUTSIDE):
        raise IncompleteError(
            gettext("“{text}” has an unsupported tax category: {category}.").format(
                text=line.text, category=line.category
            )
        )
    if (line.category == STANDARD) != (line.rate > 0):
        raise IncompleteError(
            gettext(
                "“{text}” has a tax rate of {rate} %, which does not match"
                " its tax category {category}."
            ).format(text=line.text, rate=f"{line.rate:f}", category=line.category)
        )


def _plain_id(tax_id: str) -> str:
    return re.sub("[^0-9A-Z*+]", "", tax_id.upper())


def vat_number(party: Party) -> str:
    """Return the VAT number; empty if the tax number does not begin with a country."""
    number = _plain_id(party.tax_id)
    own = "EL" if party.country == "GR" else party.country
    letters, rest = number[:2], number[2:]
    is_foreign = letters in VAT_COUNTRIES and (
        rest[:1].isdigit() or letters in LETTER_AFTER_COUNTRY
    )
    return number if (letters == own or is_foreign) and re.search("[0-9]", rest) else ""
