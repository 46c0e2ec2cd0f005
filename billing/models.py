"""The register of records: what Django must find. Nobody imports from here."""

from billing.invoices.models import EInvoice, Invoice, InvoiceLine, Payment
from billing.quotes.models import Option, Quote, QuoteLine

__all__ = [
    "EInvoice",
    "Invoice",
    "InvoiceLine",
    "Option",
    "Payment",
    "Quote",
    "QuoteLine",
]
