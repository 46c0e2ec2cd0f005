"""A sample of each document of the demo shop, as stored or as printed."""

from collections.abc import Callable

from billing.handover.models import Parcel, WarrantyCertificate
from billing.invoices.models import DayClose, EInvoice, Invoice, Receipt, Reminder
from billing.quotes.models import Quote
from billing.repair_form.models import RepairInformationForm
from repairs.intake.papers import render_label_pdf, render_slip_pdf
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.shop.models import Shop

SAMPLES: dict[str, Callable[[], bytes]] = {
    "claim-slip.pdf": lambda: render_slip_pdf(_just_in(), shop=Shop.current()),
    "device-label.pdf": lambda: render_label_pdf(_just_in(), size="62x29"),
    "quote.pdf": lambda: _kept(Quote.objects.filter(state="sent").order_by("sent_at")),
    "repair-form.pdf": lambda: _kept(
        RepairInformationForm.objects.exclude(issued_at=None)
    ),
    "receipt-of-a-deposit.pdf": lambda: _kept(Receipt.objects.order_by("number")),
    "invoice.pdf": lambda: _kept(_bills().exclude(einvoice="pdf")),
    "invoice-with-e-invoice-inside.pdf": lambda: _kept(_bills().filter(einvoice="pdf")),
    "e-invoice.xml": lambda: bytes(EInvoice.objects.first().file),
    "credit-note.pdf": lambda: _kept(
        Invoice.objects.filter(kind=Invoice.Kind.CREDIT_NOTE)
    ),
    "reminder.pdf": lambda: _kept(Reminder.objects.order_by("level")),
    "day-close.pdf": lambda: _kept(DayClose.objects.order_by("day")),
    "cover.pdf": lambda: _kept(WarrantyCertificate.objects.order_by("id")),
    "parcel-note.pdf": lambda: _kept(Parcel.objects.order_by("id")),
}
"""By file name; of several documents of a type, the one that shows most."""


def _kept(rows) -> bytes:
    return bytes(rows.last().pdf)


def _just_in() -> Job:
    return Job.objects.filter(state=states.BOOKED_IN).order_by("id").first()


def _bills():
    return Invoice.objects.filter(kind=Invoice.Kind.INVOICE).order_by("id")
