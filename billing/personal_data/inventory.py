"""Where is the personal data of a customer, and what becomes of it?

Each model stands in `INVENTORY`, or in `NOT_PERSONAL` with the reason; a test walks all
models. Export and erasure follow these tables.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db import models
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext_lazy

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
from shopdesk.recording.models import Action, TrailEntry

MARK = "erased"
"""What stands in the place of an erased text that may not be empty."""


@dataclass(frozen=True)
class PersonalRows:
    """Rows of one model that belong to a customer, and what erasure does to them.

    `way` leads from a row to its customer; None for emails, which are found by what
    they are about. `blanked` fields become empty, `marked` ones `MARK`; `later` ones
    are those of accounting documents, erased after the legal period, which counts from
    the day in `dated`. `stays` says why text fields that erasure leaves may stay.
    """

    model: type[models.Model]
    way: str | None
    blanked: tuple[str, ...] = ()
    marked: tuple[str, ...] = ()
    later: tuple[str, ...] = ()
    dated: str = ""
    is_deleted: bool = False
    stays: str = ""
    not_exported: frozenset[str] = frozenset()

    @property
    def label(self) -> str:
        """Return the name of the records in exported data, always in English."""
        with translation.override(None):
            return str(self.model._meta.verbose_name_plural)

    def rows(self, customer: Customer) -> models.QuerySet:
        """Return the rows of the customer, in the order they were made."""
        rows = self.model._base_manager.order_by("pk")
        if self.way is None:
            name = "pk__in" if self.model is Email else "email__in"
            return rows.filter(**{name: emails_of(customer).values("pk")})
        return rows.filter(**{self.way: customer.pk})


TECHNICAL = gettext_lazy("what was measured or counted, in the words of the trade")
STATE = gettext_lazy("states, days and amounts; no text about a person")
TAX_LAW = gettext_lazy("accounting documents: kept until the legal period is over")

INVENTORY = (
    PersonalRows(
        Customer,
        "pk",
        blanked=("company", "email", "phone", "address", "country", "tax_id")
        + ("notes", "keep_reason"),
        stays=gettext_lazy("the name becomes “Erased” with the number of the record"),
    ),
    PersonalRows(
        Device,
        "owner",
        blanked=("serial", "serial_normalized", "serial_lookalike"),
        stays=gettext_lazy("make, model and board revision, which statistics need"),
    ),
    PersonalRows(
        Job,
        "customer",
        blanked=("complaint", "occurs_when", "condition", "accessories")
        + ("bench_notes", "imported_text", "waiting_note", "place"),
        stays=gettext_lazy("number, days, status and outcome, which statistics need"),
    ),
    PersonalRows(JobTransition, "job__customer", blanked=("why",), stays=STATE),
    PersonalRows(
        AccessCode,
        "job__customer",
        is_deleted=True,
        not_exported=frozenset({"ciphertext"}),
    ),
    PersonalRows(
        Repair,
        "job__customer",
        blanked=("note", "customer_note", "cause", "recurs_if", "imported_text")
        + ("tries_required_why",),
        stays=gettext_lazy("fault, fix, outcome and warranty, which statistics need"),
    ),
    PersonalRows(
        UncodedRepair,
        "job__customer",
        blanked=("fault_text", "fix_text"),
        stays=gettext_lazy("fault, fix, minutes and amounts, which statistics need"),
    ),
    PersonalRows(StopgapAnswer, "repair__job__customer", stays=STATE),
    PersonalRows(Labour, "job__customer", blanked=("note",), stays=STATE),
    PersonalRows(PartUsed, "repair__job__customer", stays=STATE),
    PersonalRows(
        UnstockedPart,
        "repair__job__customer",
        blanked=("note",),
        marked=("name",),
        stays=STATE,
    ),
    PersonalRows(PartReservation, "job__customer", stays=STATE),
    PersonalRows(Reading, "job__customer", stays=TECHNICAL),
    PersonalRows(CheckResult, "job__customer", stays=TECHNICAL),
    PersonalRows(
        LearntCase,
        "job__customer",
        stays=gettext_lazy(
            "fault, model, day, and of words only hashes with a secret key"
        ),
        not_exported=frozenset({"features"}),
    ),
    PersonalRows(FinalTest, "repair__job__customer", blanked=("note",), stays=STATE),
    PersonalRows(ReturnAssessment, "job__customer", blanked=("why",), stays=STATE),
    PersonalRows(Comeback, "job__customer", stays=STATE),
    PersonalRows(
        PhotoFile,
        "photo__job__customer",
        is_deleted=True,
        not_exported=frozenset({"thumbnail"}),
    ),
    PersonalRows(Photo, "job__customer", is_deleted=True),
    PersonalRows(
        PhotoLink,
        "job__customer",
        is_deleted=True,
        not_exported=frozenset({"token_hash"}),
    ),
    PersonalRows(
        Link,
        "job__customer",
        is_deleted=True,
        not_exported=frozenset({"token_hash"}),
    ),
    PersonalRows(
        Quote,
        "job__customer",
        blanked=("findings", "answer_why", "pdf"),
        marked=("answered_by",),
        stays=STATE,
    ),
    PersonalRows(
        QuoteOption,
        "quote__job__customer",
        blanked=("description", "track_record", "price_reason"),
        marked=("title",),
        stays=STATE,
    ),
    PersonalRows(
        QuoteLine,
        "option__quote__job__customer",
        marked=("text",),
        stays=gettext_lazy("amounts and the reason for the tax"),
    ),
    PersonalRows(Signature, "quote__job__customer", is_deleted=True),
    PersonalRows(ChangeOrder, "quote__job__customer", marked=("why",), stays=STATE),
    PersonalRows(
        ChangeLine,
        "change__quote__job__customer",
        marked=("text",),
        stays=gettext_lazy("amounts and the reason for the tax"),
    ),
    PersonalRows(
        ChangeAnswer,
        "change__quote__job__customer",
        blanked=("why",),
        marked=("who", "reached_at"),
        stays=STATE,
    ),
    PersonalRows(
        RepairInformationForm,
        "job__customer",
        blanked=("defect", "measures", "price_rule", "place", "extras_json")
        + ("more", "pdf"),
        marked=("accepted_by",),
        stays=STATE,
    ),
    PersonalRows(
        DiagnosisConsent,
        "job__customer",
        marked=("agreed_by",),
        stays=STATE,
    ),
    PersonalRows(Collection, "job__customer", is_deleted=True),
    PersonalRows(
        Parcel,
        "job__customer",
        blanked=("number", "pdf"),
        marked=("to",),
        stays=gettext_lazy("carrier, weight and battery"),
    ),
    PersonalRows(WarrantyCertificate, "job__customer", is_deleted=True),
    PersonalRows(
        Reminder,
        "invoice__customer",
        blanked=("text", "mailed_to", "pdf"),
        stays=STATE,
    ),
    PersonalRows(
        Invoice,
        "customer",
        later=("buyer_name", "buyer_address", "buyer_tax_id", "text", "pdf"),
        dated="issued_on",
        stays=TAX_LAW,
    ),
    PersonalRows(
        InvoiceLine,
        "invoice__customer",
        later=("text",),
        dated="invoice__issued_on",
        stays=TAX_LAW,
    ),
    PersonalRows(
        EInvoice,
        "invoice__customer",
        later=("file",),
        dated="invoice__issued_on",
        stays=TAX_LAW,
    ),
    PersonalRows(
        Payment, "job__customer", later=("text",), dated="booked_on", stays=TAX_LAW
    ),
    PersonalRows(
        Receipt,
        "payment__job__customer",
        later=("pdf",),
        dated="payment__booked_on",
        stays=TAX_LAW,
    ),
    PersonalRows(Email, None, is_deleted=True),
    PersonalRows(Attachment, None, is_deleted=True),
)

FAULT_BOOK = "the fault book"
STOCK = "parts, deliveries and suppliers"
STAFF = "staff and their sign-ins"
TILL = "sums of the till, without names"
SHOP = "the shop and its settings"
LINKS_ONLY = "only links other records, which are exported with it"
NOT_PERSONAL = {
    "auth.permission": STAFF,
    "auth.group_permissions": STAFF,
    "auth.group": STAFF,
    "axes.accessfailurelog": STAFF,
    "axes.accessattempt": STAFF,
    "axes.accessattemptexpiration": STAFF,
    "axes.accesslog": STAFF,
    "contenttypes.contenttype": "names of tables",
    "shopdesk.verifiedbackup": "names of backup files",
    "shopdesk.trailentry": "exported and erased by record: see `keys_of`",
    "shopdesk.sentform": "encrypted with a key not stored here; deleted after 2 days",
    "shopdesk.series": SHOP,
    "shopdesk.taxrate": SHOP,
    "shopdesk.taxrule": SHOP,
    "shopdesk.markuptier": SHOP,
    "shopdesk.shop": SHOP,
    "shopdesk.user": STAFF,
    "shopdesk.session": "encrypted entries of staff; deleted when the session ends",
    "shopdesk.recoverycode": STAFF,
    "shopdesk.apitoken": STAFF,
    "shopdesk.requestcount": "hashes of addresses, deleted after an hour",
    "repairs.devicemodel": "makes and models",
    "repairs.part": STOCK,
    "repairs.part_substitutes": STOCK,
    "repairs.supplier": STOCK,
    "repairs.delivery": STOCK,
    "repairs.stockmovement": STOCK,
    "repairs.partorder": STOCK,
    "repairs.symptom": FAULT_BOOK,
    "repairs.boardnote": FAULT_BOOK,
    "repairs.fault": FAULT_BOOK,
    "repairs.fault_checks": FAULT_BOOK,
    "repairs.fault_symptoms": FAULT_BOOK,
    "repairs.fix": FAULT_BOOK,
    "repairs.fix_faults": FAULT_BOOK,
    "repairs.mergedentry": FAULT_BOOK,
    "repairs.usualpart": FAULT_BOOK,
    "repairs.check": FAULT_BOOK,
    "repairs.job_symptoms": LINKS_ONLY,
    "repairs.learntcount": "sums over cases, of words only hashes with a secret key",
    "repairs.pastimport": "the name of a file, and the ids of what it created",
    "repairs.sheetdraft": "a file that is being imported; deleted after two weeks",
    "repairs.sheetlayout": "headers of columns, and texts of faults and fixes",
    "repairs.changemark": "numbers that tell whether a table changed",
    "billing.dayclose": TILL,
}


def emails_of(customer: Customer) -> models.QuerySet:
    """Return the emails about a job, quote, form or invoice of the customer."""
    pages = []
    for job in customer.jobs.values_list("pk", flat=True):
        pages += [reverse(name, args=[job]) for name in PAGES_OF_A_JOB]
    for model, way, page in PAGES_OF_PAPERS:
        found = model._base_manager.filter(**{way: customer.pk})
        pages += [reverse(page, args=[pk]) for pk in found.values_list("pk", flat=True)]
    return Email.objects.order_by().filter(about__in=pages)


PAGES_OF_A_JOB = ("handover:hand_over", "changes:for_job")
PAGES_OF_PAPERS = (
    (Quote, "job__customer", "quotes:quote"),
    (RepairInformationForm, "job__customer", "repair_form:form"),
    (Invoice, "customer", "invoices:invoice"),
)
"""The pages that emails are about: `mail.actions.write(about=…)`."""


def keys_of(customer: Customer) -> Iterator[tuple[str, int]]:
    """Yield the keys of all records of the customer, as the trail names them."""
    for kind in INVENTORY:
        label = kind.model._meta.label_lower
        for pk in kind.rows(customer).values_list("pk", flat=True):
            yield label, pk
            if kind.model in (Customer, Device):
                yield from ((label, merged) for merged, _ in merged_into(label, pk))


def merged_into(kind: str, record: int) -> Iterator[tuple[int, str | None]]:
    """Yield the records that were merged into this one, and when they were created.

    They are deleted, but the trail and older backups hold their values.
    """
    events = TrailEntry.objects.filter(
        kind=kind, record=record, action=Action.MERGED
    ).order_by("id")
    for event in events:
        if event.values:
            merged = int(event.values["merged"])
            yield merged, event.values["created_at"]
            yield from merged_into(kind, merged)
