"""The register of records: what Django must find. Nobody imports from here."""

from billing.invoices.models import Invoice, InvoiceLine, Payment
from billing.quotes.models import Option, Quote, QuoteLine

__all__ = ["Invoice", "InvoiceLine", "Option", "Payment", "Quote", "QuoteLine"]
