"""The register of records: what Django must find. Nobody imports from here."""

from billing.handback.models import Collected, CoverPaper, Parcel
from billing.invoices.day_close.models import DayClose
from billing.invoices.models import (
    EInvoice,
    Invoice,
    InvoiceLine,
    Payment,
    Receipt,
    Reminder,
)
from billing.quotes.changes.models import ChangeAnswer, ChangeLine, ChangeOrder
from billing.quotes.link.models import Knock, Signature
from billing.quotes.models import Link, Option, Quote, QuoteLine
from billing.quotes.repair_form.models import DiagnosisConsent, RepairForm

__all__ = [
    "ChangeAnswer",
    "ChangeLine",
    "ChangeOrder",
    "Collected",
    "CoverPaper",
    "DayClose",
    "DiagnosisConsent",
    "EInvoice",
    "Invoice",
    "InvoiceLine",
    "Knock",
    "Link",
    "Option",
    "Parcel",
    "Payment",
    "Quote",
    "QuoteLine",
    "Receipt",
    "Reminder",
    "RepairForm",
    "Signature",
]
