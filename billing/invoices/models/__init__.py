from billing.invoices.models.day_close import DayClose, booking_date, lock_till
from billing.invoices.models.invoice import MEANS, EInvoice, Invoice, InvoiceLine
from billing.invoices.models.payment import MOVED, WAIVED, Payment, Receipt, Reminder

__all__ = [
    "MEANS",
    "MOVED",
    "DayClose",
    "EInvoice",
    "Invoice",
    "InvoiceLine",
    "Payment",
    "Receipt",
    "Reminder",
    "WAIVED",
    "booking_date",
    "lock_till",
]
