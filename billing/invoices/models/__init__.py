from billing.invoices.models.day_close import DayClose, booking_date, lock_till
from billing.invoices.models.invoice import MEANS, EInvoice, Invoice, InvoiceLine
from billing.invoices.models.payment import LET_GO, MOVED, Payment, Receipt, Reminder

__all__ = [
    "LET_GO",
    "MEANS",
    "MOVED",
    "DayClose",
    "EInvoice",
    "Invoice",
    "InvoiceLine",
    "Payment",
    "Receipt",
    "Reminder",
    "booking_date",
    "lock_till",
]
