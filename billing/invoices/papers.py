"""Invoice and credit note on paper, and as files that another desk reads by itself."""

from collections.abc import Callable
from datetime import datetime

from billing.changes.queries import agreed_changes
from billing.einvoice import factur_x
from billing.einvoice.en16931 import Bill, MissingInvoiceDataError
from billing.invoices.models import Invoice, InvoiceLine
from repairs.customers.models import Customer
from repairs.jobs.models import Job
from shopdesk.money import Totals
from shopdesk.papers.render import (
    Inside,
    PaperFailed,
    Schema,
    document_language,
    render_pdf,
)
from shopdesk.shop.models import Shop

FACTUR_X = Schema(
    title="Factur-X PDFA Extension Schema",
    uri="urn:factur-x:pdfa:CrossIndustryDocument:invoice:1p0#",
    prefix="fx",
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
    lines: list[InvoiceLine],
    totals: Totals,
    job: Job,
    shop: Shop,
    made_at: datetime,
    bill=None,
) -> bytes:
    """The paper of a bill that is about to be kept.

    Where the customer wants the e-invoice inside, it is. PaperFailed says what the
    record lacks for it.
    """
    inside = None
    if invoice.einvoice == Customer.EInvoice.PDF:
        cii = _written(factur_x.cii, invoice, lines)
        inside = Inside(factur_x.FILE_NAME, cii, FACTUR_X)
    return render_pdf(
        "billing/invoices/paper.html",
        {
            "shop": shop,
            "invoice": invoice,
            "lines": lines,
            "totals": totals,
            "several_rates": len(totals.groups) > 1,
            "written_in": invoice.written_in(shop),
            "job": job,
            "device": job.device,
            "paid": invoice.paid_with_it,
            "asked": invoice.gross - invoice.deposited,
            "is_rest": invoice.is_credit_note
            and invoice.gross != -invoice.credits.gross,
            "left": invoice.gross
            - invoice.deposited
            - invoice.paid_with_it
            - invoice.rounding,
            "over": bill.over if bill else 0,
            "changes": agreed_changes(job) if bill and bill.quote else [],
        },
        size=shop.paper,
        made_at=made_at,
        inside=inside,
    )


def ubl_file(invoice: Invoice, *, lines: list[InvoiceLine]) -> bytes:
    """The bill as a UBL file; PaperFailed says what the record lacks for it."""
    return _written(factur_x.ubl, invoice, lines)


def _written(
    write: Callable[[Bill], bytes], invoice: Invoice, lines: list[InvoiceLine]
) -> bytes:
    try:
        with document_language(Shop.current()):
            bill = invoice.as_einvoice(lines)
        return write(bill)
    except MissingInvoiceDataError as lacking:
        raise PaperFailed(f"{lacking}{_way_out(invoice)}") from lacking


def _way_out(invoice: Invoice) -> str:
    """The device shall not stay here because a figure is missing."""
    if invoice.is_credit_note or not invoice.einvoice:
        return ""
    return " Until then the bill can go without: choose so on the customer’s page."
