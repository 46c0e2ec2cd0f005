"""The e-invoice of an invoice, from its stored record only.

Later payments and later changes of the shop's name are not in it.
"""

from collections.abc import Callable, Sequence

from django.utils.translation import gettext

from billing.einvoice import en16931
from billing.invoices.models import Invoice, InvoiceLine
from shopdesk.errors import IncompleteError
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop


def einvoice_file(
    write: Callable[[en16931.EInvoiceData], bytes],
    invoice: Invoice,
    lines: Sequence[InvoiceLine],
    *,
    shop: Shop,
) -> bytes:
    """Return the file made by `write`, `factur_x.cii` or `ubl`.

    Raises: IncompleteError, which says how to continue without an e-invoice, so that a
    missing entry does not stop the handover.
    """
    try:
        with document_language(shop):
            document = einvoice_of(invoice, lines)
        return write(document)
    except IncompleteError as error:
        if invoice.is_credit_note or not invoice.einvoice:
            raise
        raise IncompleteError(
            gettext(
                "{error} To continue without an e-invoice, change the customer record."
            ).format(error=error)
        ) from error


def einvoice_of(invoice: Invoice, lines: Sequence[InvoiceLine]) -> en16931.EInvoiceData:
    """Return the invoice in the terms of EN 16931, in the active language."""
    credited = invoice.credits
    return en16931.EInvoiceData(
        number=invoice.full_number,
        issued_on=invoice.issued_on,
        supplied_on=invoice.supplied_on,
        seller=invoice.party("seller"),
        buyer=invoice.party("buyer"),
        currency=invoice.currency,
        places=invoice.places,
        lines=[
            en16931.EInvoiceLine(
                line.text, line.quantity, line.price, line.tax_rate, line.tax_category
            )
            for line in lines
        ],
        tax=invoice.tax,
        gross=invoice.gross,
        prices_include_tax=invoice.prices_include_tax,
        due_on=invoice.due_on,
        paid=invoice.deposits_used + invoice.paid_with_it,
        rounding=-invoice.rounding,
        means=invoice.means,
        stored_totals=invoice.credit_totals(lines) if credited else None,
        credits=(credited.full_number, credited.issued_on) if credited else None,
        notes=[invoice.text],
        reasons=_reasons(lines),
    )


def _reasons(lines: Sequence[InvoiceLine]) -> dict[str, str]:
    """Return all reasons without tax of each category, each once."""
    found: dict[str, dict[str, None]] = {}
    for line in lines:
        if line.tax_reason:
            found.setdefault(line.tax_category, {})[gettext(line.tax_reason)] = None
    return {category: "; ".join(reasons) for category, reasons in found.items()}
