"""What is to be deleted because its time is over, by the shop's settings.

Customers whose data is kept for a reason are passed over.
"""

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import Exists, Max, OuterRef, Q, QuerySet
from django.utils.translation import gettext, ngettext_lazy

from billing.personal_data.erasing import (
    documents_due,
    erase_customer,
    erase_documents,
    reasons_to_keep,
)
from billing.personal_data.inventory import emails_of
from repairs.customers.models import Customer
from repairs.jobs import states
from repairs.jobs.models import AccessCode, JobTransition
from repairs.photos.actions import remove_photos
from repairs.photos.models import Photo
from shopdesk.mail.models import Email
from shopdesk.papers.render import document_language
from shopdesk.shop.models import Shop
from shopdesk.stamp import Stamp

DAYS = ngettext_lazy("%(n)s day", "%(n)s days", "n")
MONTHS = ngettext_lazy("%(n)s month", "%(n)s months", "n")
YEARS = ngettext_lazy("%(n)s year", "%(n)s years", "n")
CALENDAR_YEARS = ngettext_lazy("%(n)s calendar year", "%(n)s calendar years", "n")


@dataclass(frozen=True)
class Due:
    """What one deadline concerns today, for the page that lists it."""

    label: str
    after: str
    count: int


def due(*, on: date, shop: Shop) -> list[Due]:
    """Return what the next night deletes, without deleting anything."""
    documents = sum(rows.count() for _, rows in documents_due(on=on, shop=shop))
    return [
        Due(
            gettext("Access codes of jobs that are ready"),
            _after(shop.code_days, DAYS),
            codes_due(on=on, shop=shop).count(),
        ),
        Due(
            gettext("Emails that were sent, discarded or failed"),
            _after(shop.email_months, MONTHS),
            emails_due(on=on, shop=shop).count(),
        ),
        Due(
            gettext("Photos of devices that were handed over"),
            _after(shop.photo_months, MONTHS),
            photos_due(on=on, shop=shop).count(),
        ),
        Due(
            gettext("Customers without a visit"),
            _after(shop.inactive_years, YEARS),
            len(customers_due(on=on, shop=shop)),
        ),
        Due(
            gettext("Names and texts in invoices and payments of erased customers"),
            _after(shop.accounting_years, CALENDAR_YEARS),
            documents,
        ),
    ]


def _after(number: int | None, duration) -> str:
    return gettext("kept") if number is None else duration % {"n": number}


def months_before(on: date, months: int) -> date:
    """Return the same day so many months before, or the last day of that month."""
    year, month = divmod(12 * on.year + on.month - 1 - months, 12)
    return date(year, month + 1, min(on.day, monthrange(year, month + 1)[1]))


def codes_due(*, on: date, shop: Shop) -> QuerySet:
    """Return the codes of jobs that have been ready for so many days."""
    last = JobTransition.objects.filter(job=OuterRef("job"), to_state=states.READY)
    since = last.order_by().values("job").annotate(at=Max("made_at")).values("at")
    codes = AccessCode.objects.filter(job__state=states.READY).alias(since=since)
    codes = codes.filter(since__date__lte=on - timedelta(days=shop.code_days))
    return codes.exclude(job__customer__keep_until__gte=on)


def emails_due(*, on: date, shop: Shop) -> QuerySet:
    """Return old emails that nobody sends any more."""
    if shop.email_months is None:
        return Email.objects.none()
    last = months_before(on, shop.email_months)
    old = Email.objects.filter(written_at__date__lte=last).exclude(
        sent_at=None, discarded_at=None, next_try_at__isnull=False
    )
    for customer in Customer.objects.filter(keep_until__gte=on):
        old = old.exclude(pk__in=emails_of(customer).values("pk"))
    return old


def photos_due(*, on: date, shop: Shop) -> QuerySet:
    """Return the photos of jobs that ended so many months ago."""
    if shop.photo_months is None:
        return Photo.objects.none()
    last = months_before(on, shop.photo_months)
    old = Photo.objects.shown().filter(job__handed_over_on__lte=last)
    return old.exclude(job__customer__keep_until__gte=on)


def customers_due(*, on: date, shop: Shop) -> list[Customer]:
    """Return the customers without a visit for so many years, if nothing is open."""
    if shop.inactive_years is None:
        return []
    last = months_before(on, 12 * shop.inactive_years)
    recent = Q(booked_in_on__gt=last) | Q(handed_over_on__gt=last)
    recent |= ~Q(state=states.HANDED_OVER)
    jobs = Customer.jobs.rel.related_model.objects.filter(customer=OuterRef("pk"))
    idle = Customer.objects.filter(erased_on=None, created_at__date__lte=last)
    idle = idle.exclude(keep_until__gte=on).filter(~Exists(jobs.filter(recent)))
    return [c for c in idle.order_by("pk") if not reasons_to_keep(c, on=on)]


def apply_deadlines(*, stamp: Stamp) -> None:
    """Delete what is due; a second run on a day finds nothing."""
    shop, on = Shop.current(), stamp.on
    with transaction.atomic():
        codes_due(on=on, shop=shop).delete()
        emails_due(on=on, shop=shop).delete()
        photos = photos_due(on=on, shop=shop)
        with document_language(shop):
            why = gettext("The time for photos is over.")
        remove_photos(photos, why=why, stamp=stamp)
        erase_documents(on=on, shop=shop)
    for customer in customers_due(on=on, shop=shop):
        erase_customer(customer, stamp=stamp)
