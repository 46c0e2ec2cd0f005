"""Write invoices as e-invoices (EN 16931): CII to embed in the PDF, UBL 2.1 as a file.

Only this module uses the factur-x library. By default the library sends each invoice to
a web server for validation; this is switched off here. The tests validate its output
with the official rules.
"""

import re
from decimal import Decimal
from typing import Any

from billing.einvoice.en16931 import (
    EXEMPT,
    OUTSIDE,
    REVERSE,
    UNIT,
    EInvoiceData,
    EInvoiceLine,
    Party,
    WrittenLine,
    check,
    sums,
    vat_number,
)
from shopdesk import money
from shopdesk.errors import IncompleteError
from shopdesk.plain_gettext import gettext

PROFILE = "en16931"
FILE_NAME = "factur-x.xml"
"""The name that readers expect for the file embedded in the PDF."""

REASONS = {REVERSE: "Reverse charge", OUTSIDE: "Not subject to VAT"}
REASON_CODES = {REVERSE: "VATEX-EU-AE", OUTSIDE: "VATEX-EU-O"}
"""Reasons without tax; for exemption the invoice itself has the reason."""

MEANS = {"cash": "10", "card": "48", "transfer": "1"}
"""Payment methods (UNCL 4461). 1 is “not defined”: the code of a transfer, 30, would
require an account number, which is not known here.
"""

UNSEEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def cii(invoice: EInvoiceData) -> bytes:
    """Return the e-invoice to embed in the PDF, always with the same bytes."""
    return _written("generate_cii_xml", invoice)


def ubl(invoice: EInvoiceData) -> bytes:
    """Return the e-invoice as a UBL 2.1 file, always with the same bytes."""
    written = _written("generate_ubl_xml", invoice)
    # The library always writes EUR for this amount.
    amount = b'PayableRoundingAmount currencyID="%s"'
    return written.replace(amount % b"EUR", amount % invoice.currency.encode())


def _written(how: str, invoice: EInvoiceData) -> bytes:
    # Imported on first use, as it is slow to load.
    import facturx

    document = _document(invoice)
    try:
        written: bytes = getattr(facturx, how)(
            document, level=PROFILE, check_xsd=True, check_schematron=None
        )
    except Exception as wrong:
        # The library has no errors of its own: an unknown currency is a ValueError, a
        # schema violation a bare Exception. Neither may crash a handover.
        raise IncompleteError(
            gettext("No e-invoice could be created for {number}: {wrong}").format(
                number=invoice.number, wrong=wrong
            )
        ) from wrong
    return written


def _document(invoice: EInvoiceData) -> dict[str, Any]:
    """Return the invoice under the names of the standard: BT is a term, BG a group."""
    check(invoice)
    amounts = sums(invoice)
    document: dict[str, Any] = {
        "BT-1": _text(invoice.number),
        "BT-2": invoice.issued_on,
        "BT-3": "381" if invoice.credits else "380",
        "BT-5": invoice.currency,
        "BT-72": invoice.supplied_on,
        "BG-1": [{"BT-22": _text(note)} for note in invoice.notes if note.strip()],
        "BG-4": _seller(invoice),
        "BG-7": _buyer(invoice),
        "BG-23": [_tax(group, invoice) for group in amounts.groups],
        "BG-25": [
            _line(n, line, written, invoice)
            for n, (line, written) in enumerate(
                zip(invoice.lines, amounts.lines, strict=True), 1
            )
        ],
        "BT-106": _amount(amounts.lines_net, invoice),
        "BT-109": _amount(amounts.net, invoice),
        "BT-110": _amount(amounts.tax, invoice),
        "BT-112": _amount(amounts.gross, invoice),
        "BT-115": _amount(amounts.due, invoice),
    }
    if amounts.due > 0 and not invoice.credits:
        if invoice.due_on:
            document["BT-9"] = invoice.due_on
        document["BT-20"] = (
            f"Payable{'' if invoice.due_on else ' immediately'}. Please quote the"
            f" number {invoice.number}."
        )
    if invoice.credits:
        number, on = invoice.credits
        document["BG-3"] = [{"BT-25": _text(number), "BT-26": on}]
    if invoice.paid:
        document["BT-113"] = _amount(invoice.paid, invoice)
        if amounts.rounding:
            document["BT-114"] = _amount(amounts.rounding, invoice)
        if invoice.means in MEANS:
            document["BT-81"] = MEANS[invoice.means]
    return document


def _party(party: Party) -> dict[str, Any]:
    name = {"name": _text(party.name), "country_code": party.country}
    return name | _address(party.address)


def _address(address: str) -> dict[str, str]:
    """Return the lines of an address; a postcode and town become separate terms."""
    lines = [_text(line) for line in address.splitlines() if line.strip()]
    terms = {}
    town = re.fullmatch(
        r"(?:[A-Z]{1,2}-)?([0-9]{4,6}) +(\D.*)", lines[-1] if lines else ""
    )
    if town:
        terms["postcode"], terms["city"] = town.groups()
        lines.pop()
    if len(lines) > 3:
        lines[2:] = [", ".join(lines[2:])]
    return terms | {f"addr_l{n}": line for n, line in enumerate(lines, 1)}


def _is_outside(invoice: EInvoiceData) -> bool:
    return any(line.category == OUTSIDE for line in invoice.lines)


def _seller(invoice: EInvoiceData) -> dict[str, Any]:
    terms = _party(invoice.seller)
    number = vat_number(invoice.seller)
    if number and not _is_outside(invoice):
        terms["vat_identifier"] = number
        return terms
    # Not a VAT number, or an invoice that may not show one: the seller is identified by
    # the number as it is.
    own = _text(invoice.seller.tax_id)
    terms["identifiers"] = {None: own}
    if not _is_outside(invoice):
        terms["tax_identifier"] = own
    return terms


def _buyer(invoice: EInvoiceData) -> dict[str, Any]:
    terms = _party(invoice.buyer)
    number = vat_number(invoice.buyer)
    if number and not _is_outside(invoice):
        terms["vat_identifier"] = number
    elif invoice.buyer.tax_id.strip():
        terms["identifiers"] = {None: _text(invoice.buyer.tax_id)}
    return terms


def _tax(group: money.TaxGroup, invoice: EInvoiceData) -> dict[str, str]:
    terms = {
        "BT-116": _amount(group.net, invoice),
        "BT-117": _amount(group.tax, invoice),
        "BT-118": group.category,
    }
    if group.category != OUTSIDE:
        terms["BT-119"] = _plain(group.rate)
    reason = invoice.reasons.get(group.category) or REASONS.get(group.category, "")
    if reason and group.category in (EXEMPT, REVERSE, OUTSIDE):
        terms["BT-120"] = _text(reason)
    if group.category in REASON_CODES:
        terms["BT-121"] = REASON_CODES[group.category]
    return terms


def _line(
    n: int, line: EInvoiceLine, written: WrittenLine, invoice: EInvoiceData
) -> dict[str, Any]:
    terms = {
        "BT-126": str(n),
        "BT-129": _plain(written.quantity),
        "BT-130": UNIT,
        "BT-131": _amount(written.net, invoice),
        "BT-146": _price_text(written.price, invoice),
        "BT-151": line.category,
        "BT-153": _text(line.text),
    }
    if line.category != OUTSIDE:
        terms["BT-152"] = _plain(line.rate)
    return terms


def _amount(amount: Decimal, invoice: EInvoiceData) -> str:
    # Adding zero turns -0 into 0.
    return f"{money.rounded(amount, places=invoice.places) + 0:f}"


def _price_text(price: Decimal, invoice: EInvoiceData) -> str:
    if price == money.rounded(price, places=invoice.places):
        return _amount(price, invoice)
    return _plain(price)


def _plain(number: Decimal) -> str:
    return f"{number.normalize() + 0:f}"


def _text(text: str) -> str:
    """Return the text on one line, without characters that XML does not allow."""
    return " ".join(UNSEEN.sub(" ", text).split())
