"""What the pages about personal data call records and their fields.

Names that Django derives from those of models and fields have no translation.
"""

from django.utils.translation import gettext, gettext_lazy

from billing.changes.models import ChangeAnswer, ChangeLine, ChangeOrder
from billing.customer_page.models import Signature
from billing.handover.models import Collection, Parcel, WarrantyCertificate
from billing.invoices.models import (
    EInvoice,
    Invoice,
    InvoiceLine,
    Payment,
    Receipt,
    Reminder,
)
from billing.quotes.models import Link, Quote, QuoteLine, QuoteOption
from billing.repair_form.models import DiagnosisConsent, RepairInformationForm
from repairs.customers.models import Customer, Device
from repairs.diagnosis.models import LearntCase
from repairs.jobs.models import (
    AccessCode,
    CheckResult,
    Comeback,
    FinalTest,
    Job,
    JobTransition,
    Labour,
    PartReservation,
    PartUsed,
    Reading,
    Repair,
    ReturnAssessment,
    StopgapAnswer,
    UncodedRepair,
    UnstockedPart,
)
from repairs.photos.models import Photo, PhotoFile, PhotoLink
from shopdesk.mail.models import Attachment, Email

RECORDS = {
    Customer: gettext_lazy("customers"),
    Device: gettext_lazy("devices"),
    Job: gettext_lazy("jobs"),
    JobTransition: gettext_lazy("changes of status"),
    AccessCode: gettext_lazy("access codes"),
    Repair: gettext_lazy("repairs"),
    UncodedRepair: gettext_lazy("repairs not coded yet"),
    StopgapAnswer: gettext_lazy("stopgap answers"),
    Labour: gettext_lazy("labour"),
    PartUsed: gettext_lazy("parts used"),
    UnstockedPart: gettext_lazy("parts not from stock"),
    PartReservation: gettext_lazy("part reservations"),
    Reading: gettext_lazy("readings"),
    CheckResult: gettext_lazy("results of checks"),
    LearntCase: gettext_lazy("learnt cases"),
    FinalTest: gettext_lazy("final tests"),
    ReturnAssessment: gettext_lazy("return assessments"),
    Comeback: gettext_lazy("comebacks"),
    PhotoFile: gettext_lazy("pictures"),
    Photo: gettext_lazy("photos"),
    PhotoLink: gettext_lazy("photo links"),
    Link: gettext_lazy("links"),
    Quote: gettext_lazy("quotes"),
    QuoteOption: gettext_lazy("quote options"),
    QuoteLine: gettext_lazy("quote lines"),
    Signature: gettext_lazy("signatures"),
    ChangeOrder: gettext_lazy("change orders"),
    ChangeLine: gettext_lazy("change lines"),
    ChangeAnswer: gettext_lazy("change answers"),
    RepairInformationForm: gettext_lazy("repair information forms"),
    DiagnosisConsent: gettext_lazy("diagnosis consents"),
    Collection: gettext_lazy("collections"),
    Parcel: gettext_lazy("parcels"),
    WarrantyCertificate: gettext_lazy("warranty certificates"),
    Reminder: gettext_lazy("reminders"),
    Invoice: gettext_lazy("invoices"),
    InvoiceLine: gettext_lazy("invoice lines"),
    EInvoice: gettext_lazy("e invoices"),
    Payment: gettext_lazy("payments"),
    Receipt: gettext_lazy("receipts"),
    Email: gettext_lazy("emails"),
    Attachment: gettext_lazy("attachments"),
}

FIELDS = {
    "pdf": gettext_lazy("stored document"),
    "file": gettext_lazy("stored file"),
    "why": gettext_lazy("reason"),
    "answer_why": gettext_lazy("reason of the answer"),
    "who": gettext_lazy("who answered"),
    "to": gettext_lazy("addressee"),
    "mailed_to": gettext_lazy("email address"),
    "more": gettext_lazy("additional information"),
    "extras_json": gettext_lazy("additional services"),
    "reached_at": gettext_lazy("number or address"),
    "company": gettext_lazy("company"),
    "email": gettext_lazy("email"),
    "phone": gettext_lazy("phone"),
    "address": gettext_lazy("address"),
    "notes": gettext_lazy("notes"),
    "serial": gettext_lazy("serial"),
    "accessories": gettext_lazy("accessories"),
    "bench_notes": gettext_lazy("bench notes"),
    "imported_text": gettext_lazy("imported text"),
    "note": gettext_lazy("note"),
    "customer_note": gettext_lazy("note for the customer"),
    "cause": gettext_lazy("cause"),
    "tries_required_why": gettext_lazy("tries required why"),
    "fault_text": gettext_lazy("fault text"),
    "fix_text": gettext_lazy("fix text"),
    "name": gettext_lazy("name"),
    "title": gettext_lazy("title"),
    "text": gettext_lazy("text"),
    "accepted_by": gettext_lazy("accepted by"),
}
"""Fields whose own name says too little, or has no translation."""


def name_of_field(model, name: str) -> str:
    """Return the name of a field in the active language."""
    return str(
        FIELDS.get(name) or gettext(str(model._meta.get_field(name).verbose_name))
    )
