"""Two records of one customer or one device become one: what moves, what is lost."""

from typing import Any

from django.db import models, transaction
from django.utils.text import get_text_list
from django.utils.translation import gettext

from billing.invoices.models import Invoice
from repairs.customers.models import Customer, Device
from repairs.jobs.models import Comeback, Job
from shopdesk.errors import RefusedError
from shopdesk.look.merging_pages import Merge, differences, locked
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp

CUSTOMER_FIELDS = (
    *(
        "name",
        "company",
        "email",
        "phone",
        "address",
        "country",
        "tax_id",
        "buyer_kind",
    ),
    *(
        "tax_kind",
        "einvoice",
        "preferred_contact",
        "notes",
        "keep_until",
        "keep_reason",
    ),
)
DEVICE_FIELDS = ("model", "serial", "board_revision", "owner", "out_of_use_on")
HOLD = ("keep_until", "keep_reason")


def customer_merge(kept: Customer, gone: Customer) -> Merge:
    _check_customers(kept, gone)
    return Merge(
        differences(kept, gone, CUSTOMER_FIELDS, merged=_merged),
        [
            (gettext("devices"), gone.devices.count()),
            (gettext("jobs"), gone.jobs.count()),
            (gettext("invoices and credit notes"), gone.invoices.count()),
        ],
        note=gettext("Invoices keep what is printed on them."),
    )


def device_merge(kept: Device, gone: Device) -> Merge:
    _check_devices(kept, gone)
    return Merge(
        differences(kept, gone, DEVICE_FIELDS, merged=_merged),
        [(gettext("jobs"), gone.jobs.count())],
    )


def _merged(kept, gone, name: str):
    """Return the value that stays: that of `kept`, unless it is empty."""
    if name in HOLD and isinstance(kept, Customer):
        # The longer of two holds.
        longer = max(kept, gone, key=lambda c: str(c.keep_until or ""))
        return getattr(longer, name)
    return getattr(kept, name) or getattr(gone, name)


@transaction.atomic
def merge_customers(kept: Customer, gone: Customer, *, stamp: Stamp) -> None:
    """Move devices, jobs and invoices of `gone` to `kept`, and delete `gone`.

    Invoices keep what is printed on them.
    """
    kept, gone = locked(Customer, kept, gone)
    _check_customers(kept, gone)
    values = {name: _merged(kept, gone, name) for name in CUSTOMER_FIELDS}
    Device.objects.filter(owner=gone).update(owner=kept)
    Job.objects.filter(customer=gone).update(customer=kept)
    # After its job: the database lets an invoice follow that alone.
    Invoice.objects.filter(customer=gone).update(customer=kept)
    _finish(kept, gone, values, stamp=stamp)


@transaction.atomic
def merge_devices(kept: Device, gone: Device, *, stamp: Stamp) -> None:
    """Move the jobs of `gone` to `kept`, and delete `gone`."""
    kept, gone = locked(Device, kept, gone)
    _check_devices(kept, gone)
    values = {name: _merged(kept, gone, name) for name in DEVICE_FIELDS}
    Job.objects.filter(device=gone).update(device=kept)
    _finish(kept, gone, values, stamp=stamp)
    for job in kept.jobs.order_by("pk"):
        Comeback.objects.write(job)


def _finish(
    kept: models.Model, gone: models.Model, values: dict[str, Any], *, stamp: Stamp
) -> None:
    pk, created_at = gone.pk, getattr(gone, "created_at", None)
    gone.delete()  # first: two devices may not have one serial number
    for name, value in values.items():
        setattr(kept, name, value)
    kept.save()
    record_event(
        Action.MERGED, kept, by=stamp.by, merged=str(pk), created_at=created_at
    )


def _check_customers(kept: Customer, gone: Customer) -> None:
    if kept.pk == gone.pk:
        raise RefusedError(gettext("Choose another customer: this is the same one."))
    if kept.erased_on or gone.erased_on:
        raise RefusedError(gettext("An erased customer cannot be merged."))


def _check_devices(kept: Device, gone: Device) -> None:
    """Refuse what cannot be one device: it would be in the shop twice at once."""
    if kept.pk == gone.pk:
        raise RefusedError(gettext("Choose another device: this is the same one."))
    visits = Job.objects.filter(device__in=[kept.pk, gone.pk])
    visits = list(visits.order_by("booked_in_on", "pk"))
    still_here = [job.number for job in visits if job.is_open]
    if len(still_here) > 1:
        raise RefusedError(
            gettext("Both devices are in the shop: jobs {numbers} are open.").format(
                numbers=get_text_list(still_here, gettext("and"))
            )
        )
    for job in visits:
        for other in visits:
            if job.device_id != other.device_id and _overlap(job, other):
                raise RefusedError(
                    gettext(
                        "These are two devices: they were in the shop at the same"
                        " time, by jobs {number} and {other_number}."
                    ).format(number=job.number, other_number=other.number)
                )


def _overlap(job: Job, other: Job) -> bool:
    """Whether `other` was booked in while `job` was here; a day may hold two visits."""
    is_later = job.booked_in_on <= other.booked_in_on
    return is_later and (
        job.handed_over_on is None or other.booked_in_on < job.handed_over_on
    )
