"""May a customer be erased, what goes, what stays, and the erasure itself."""

from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import models, transaction
from django.db.models import Q
from django.utils.translation import gettext

from billing.invoices.balance import balance_of
from billing.personal_data import erasure_log
from billing.personal_data.inventory import (
    INVENTORY,
    MARK,
    PersonalRows,
    keys_of,
    merged_into,
)
from billing.personal_data.record_names import RECORDS, name_of_field
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import Job
from shopdesk.errors import RefusedError
from shopdesk.look.shop_formats import day
from shopdesk.lookup import renew_search_indexes
from shopdesk.recording.models import Action
from shopdesk.recording.writing import erase_details, record_event
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

EMPTY = {
    "buyer_kind": "",
    "tax_kind": "",
    "einvoice": Customer.EInvoice.NONE,
    "preferred_contact": Customer.Contact.PHONE,
    "keep_until": None,
}
"""Fields of a customer that are no text, as they are after erasure."""


def reasons_to_keep(customer: Customer, *, on: date) -> list[str]:
    """Return why the customer cannot be erased now, a sentence for each reason."""
    reasons = []
    if customer.keep_until and customer.keep_until >= on:
        reasons.append(
            gettext("The data is kept until {day}: {keep_reason}.").format(
                day=day(customer.keep_until),
                keep_reason=customer.keep_reason.rstrip("."),
            )
        )
    for job in customer.jobs.order_by("pk").prefetch_related("decisions"):
        reasons += _reasons_of(job)
    return reasons


def _reasons_of(job: Job) -> list[str]:
    if job.is_open:
        return [
            gettext("Job {number} is open ({state}).").format(
                number=job.number, state=job.get_state_display()
            )
        ]
    reasons = []
    balance = balance_of(job)
    if balance.owed > 0:
        reasons.append(
            gettext("Money is owed for job {number}.").format(number=job.number)
        )
    elif balance.owed < 0 or (balance.deposit and not balance.is_invoiced):
        reasons.append(
            gettext("A refund is due for job {number}.").format(number=job.number)
        )
    if job.decision is not None and job.decision.assessment == states.UNDECIDED:
        reasons.append(
            gettext("The return in job {number} is not assessed.").format(
                number=job.number
            )
        )
    return reasons


@dataclass(frozen=True)
class Fate:
    """What becomes of the rows of one model, for the page before the erasure."""

    label: str
    count: int
    erased: str
    stays: str


def preview(customer: Customer) -> list[Fate]:
    """Return what erasure does to each kind of record of the customer."""
    found = []
    for kind in INVENTORY:
        count = kind.rows(customer).count()
        if count:
            found.append(Fate(RECORDS[kind.model], count, _erased(kind), kind.stays))
    return found


def _erased(kind: PersonalRows) -> str:
    if kind.is_deleted:
        return gettext("deleted")
    names = [*kind.blanked, *kind.marked]
    names = [n for n in names if not n.startswith("serial_")]
    return ", ".join(name_of_field(kind.model, name) for name in names)


@transaction.atomic
def erase_customer(customer: Customer, *, stamp: Stamp) -> None:
    """Erase the personal data of a customer, and note that outside the database.

    Invoices and payments stay as they are until the legal period is over.
    """
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    if customer.erased_on is not None:
        raise RefusedError(gettext("This customer is erased already."))
    if reasons := reasons_to_keep(customer, on=stamp.on):
        raise RefusedError(" ".join(reasons))
    merged = list(merged_into(customer._meta.label_lower, customer.pk))
    _erase(customer, stamp=stamp)
    # Before the commit: no erasure is without its line.
    erasure_log.add(settings.BACKUP_DIR, customer, stamp=stamp, merged=merged)


@transaction.atomic
def erase_again(*, stamp: Stamp) -> int:
    """Erase whom the log outside the database names, after an older backup came back.

    Returns how many were not erased any more.
    """
    count = 0
    for line in erasure_log.read(settings.BACKUP_DIR):
        found = Customer.objects.filter(pk=line.customer, erased_on=None)
        for customer in found:
            if customer.created_at == line.created_at:
                _erase(customer, stamp=stamp, on=line.erased_on)
                count += 1
    return count


def _erase(customer: Customer, *, stamp: Stamp, on: date | None = None) -> None:
    keys = list(keys_of(customer))
    pks = {h: list(h.rows(customer).values_list("pk", flat=True)) for h in INVENTORY}
    # The customer first: only then does the database allow the rest.
    customer.erased_on = on or stamp.on
    customer.name = f"Erased #{customer.pk}"
    blank = dict.fromkeys(INVENTORY[0].blanked, "") | EMPTY
    for name, value in blank.items():
        setattr(customer, name, value)
    customer.save()
    for kind in INVENTORY[1:]:
        rows = kind.model._default_manager.filter(pk__in=pks[kind])
        if kind.is_deleted:
            rows.delete()
        else:
            _empty(rows, blanked=kind.blanked, marked=kind.marked)
    # Last, since what was written just now holds the old values.
    erase_details(*keys)
    renew_search_indexes()
    record_event(Action.ERASED, customer, by=stamp.by)


def _empty(
    rows: models.QuerySet, *, blanked: tuple[str, ...], marked: tuple[str, ...]
) -> None:
    """Empty the fields, and mark those that may not be empty."""
    if blanked:
        fields = [rows.model._meta.get_field(name) for name in blanked]
        rows.update(**{field.name: _blank(field) for field in fields})
    for name in marked:
        rows.exclude(**{name: ""}).update(**{name: MARK})


def _blank(field: models.Field) -> str | bytes | None:
    if isinstance(field, models.BinaryField):
        return None if field.null else b""
    return ""


def documents_due(
    *, on: date, shop: Shop
) -> list[tuple[PersonalRows, models.QuerySet]]:
    """Return the accounting documents of erased customers that no law asks for."""
    last_year = on.year - shop.accounting_years - 1
    found = []
    for kind in INVENTORY:
        if not kind.later:
            continue
        rows = kind.model._base_manager.filter(
            **{
                f"{kind.way}__erased_on__isnull": False,
                f"{kind.dated}__lte": date(last_year, 12, 31),
            }
        )
        kept = Q()
        for name in kind.later:
            field = kind.model._meta.get_field(name)
            if isinstance(field, models.BinaryField):
                kept |= ~Q(**{name: b""})
            else:
                kept |= ~Q(**{f"{name}__in": ["", MARK]})
        found.append((kind, rows.filter(kept)))
    return found


def erase_documents(*, on: date, shop: Shop) -> int:
    """Erase names and texts in them, and their files; amounts and dates stay."""
    count = 0
    for kind, rows in documents_due(on=on, shop=shop):
        pks = list(rows.values_list("pk", flat=True))
        files = {
            name
            for name in kind.later
            if isinstance(kind.model._meta.get_field(name), models.BinaryField)
        }
        _empty(
            kind.model._default_manager.filter(pk__in=pks),
            blanked=tuple(name for name in kind.later if name in files),
            marked=tuple(name for name in kind.later if name not in files),
        )
        count += len(pks)
    if count:
        renew_search_indexes()
    return count
