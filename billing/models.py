"""Register: Django finds the models of all rooms of `billing` through this file."""

from billing.changes.models import ChangeAnswer, ChangeLine, ChangeOrder
from billing.customer_page.models import Signature
from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.invoices.models import (
    DayClose,
    EInvoice,
    Invoice,
    InvoiceLine,
    Payment,
    Receipt,
    Reminder,
)
from billing.quotes.models import Link, Quote, QuoteLine, QuoteOption
from billing.repair_form.models import DiagnosisConsent, RepairInformationForm

__all__ = [
    "ChangeAnswer",
    "ChangeLine",
    "ChangeOrder",
    "Collection",
    "WarrantyCertificate",
    "DayClose",
    "DiagnosisConsent",
    "EInvoice",
    "Invoice",
    "InvoiceLine",
    "Link",
    "QuoteOption",
    "Parcel",
    "Payment",
    "Quote",
    "QuoteLine",
    "Receipt",
    "Reminder",
    "RepairInformationForm",
    "Signature",
]
