"""Invoice, credit note and receipt as PDF."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from billing.changes.queries import agreed_changes
from billing.einvoice import factur_x
from billing.invoices.einvoice_of import einvoice_file
from billing.invoices.models import Invoice, InvoiceLine, Receipt
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.money import Totals
from shopdesk.papers.render import EmbeddedFile, XmpSchema, render_pdf
from shopdesk.shop.models import Shop

FACTUR_X = XmpSchema(
    "Factur-X PDFA Extension Schema",
    "urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#",
    "fx",
    terms=(
        ("DocumentType", "INVOICE", "The type of the document"),
        ("DocumentFileName", factur_x.FILE_NAME, "The name of the file inside"),
        ("Version", "1.0", "The version of the standard that the file keeps"),
        ("ConformanceLevel", "EN 16931", "The profile of the file"),
    ),
)


def invoice_paper(
    invoice: Invoice,
    *,
    lines: Sequence[InvoiceLine],
    totals: Totals,
    overpaid: Decimal,
    shop: Shop,
    made_at: datetime,
) -> bytes:
    """Render an invoice or credit note that is about to be stored.

    The e-invoice is embedded if the customer wants that.
    """
    inside = None
    if invoice.einvoice == Customer.EInvoice.PDF:
        file = einvoice_file(factur_x.cii, invoice, lines, shop=shop)
        inside = EmbeddedFile(factur_x.FILE_NAME, file, FACTUR_X)
    due = invoice.gross - invoice.deposits_used
    is_note = invoice.is_credit_note
    return render_pdf(
        "billing/invoices/paper.html",
        {
            "shop": shop,
            "invoice": invoice,
            "lines": lines,
            "totals": totals,
            "several_rates": len(totals.groups) > 1,
            "written_in": invoice.written_in(shop),
            "job": invoice.job,
            "due": due,
            "is_rest": is_note and invoice.gross != -invoice.credits.gross,
            "left": due - invoice.paid_with_it - invoice.rounding,
            "overpaid": overpaid,
            "changes": agreed_changes(invoice.job)
            if invoice.quote and not is_note
            else [],
        },
        size=shop.paper,
        made_at=made_at,
        inside=inside,
    )


def receipt_paper(
    receipt: Receipt, *, job: Job, shop: Shop, made_at: datetime
) -> bytes:
    payment = receipt.payment
    return render_pdf(
        "billing/invoices/receipt.html",
        {
            "shop": shop,
            "receipt": receipt,
            "payment": payment,
            "amount": abs(payment.amount),
            "is_refund": payment.amount < 0,
            "written_in": payment.written_in(shop),
            "job": job,
        },
        size=shop.paper,
        made_at=made_at,
    )
