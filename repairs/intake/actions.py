"""Actions of the counter that change several records at once."""

from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.jobs import states, warranty, workflow
from repairs.jobs.access_codes import store_access_code
from repairs.jobs.models import Job, Repair
from repairs.returns.actions import assess_return
from shopdesk.errors import RefusedError, StaleError
from shopdesk.stamp import Stamp


def book_in(
    key: UUID,
    *,
    customer: Customer,
    device: Device,
    job: Job,
    is_expected: bool = False,
    earlier_repair: Repair | None = None,
    access_code: str = "",
    stamp: Stamp,
) -> tuple[Job, bool]:
    """Return the job of the form `key`, and whether it was created by this call.

    `customer`, `device` and its model may be new; all are saved together or none is.
    """
    try:
        with transaction.atomic():
            done = Job.objects.filter(key=key).first()
            if done is not None:
                return done, False
            if customer.pk is None:
                customer.save()
            job.device = _device_of(customer, device=device)
            job.key, job.customer, job.booked_in_by = key, customer, stamp.by
            job.booked_in_on, job.number = stamp.on, Job.next_number(stamp.on)
            job.state = states.EXPECTED if is_expected else states.BOOKED_IN
            job.save()
            job.transitions.create(
                from_state="", to_state=job.state, by=stamp.by, made_at=stamp.at
            )
            if access_code:
                store_access_code(job, code=access_code)
            if earlier_repair is not None:
                until = earlier_repair.warranty_until
                assess_return(
                    job,
                    earlier=earlier_repair,
                    assessment=states.UNDECIDED,
                    is_in_warranty=warranty.is_in_warranty(stamp.on, until=until),
                    why="linked at the counter",
                    stamp=stamp,
                )
            return job, True
    except IntegrityError:
        # The same form was sent twice, and the other request came first.
        done = Job.objects.filter(key=key).first()
        if done is None:
            raise StaleError(
                "This device was added by someone else just now. Search its serial"
                " number again."
            ) from None
        return done, False


def already_here(job: Job) -> str:
    """Return why the device of the open `job` cannot be booked in again."""
    if job.state == states.EXPECTED:
        return f"This device is expected as job {job.number}. Record its arrival there."
    return (
        f"This device is already in the shop as job {job.number}. Hand it over first."
    )


def _device_of(customer: Customer, *, device: Device) -> Device:
    """`device` saved, owned by `customer`; its history stays with it."""
    if device.pk is None:
        if device.model.pk is None:
            device.model = DeviceModel.objects.get_or_create(
                kind=device.model.kind,
                maker=device.model.maker,
                model=device.model.model,
            )[0]
        device.owner = customer
        device.save()
        return device
    device = Device.objects.select_for_update(of=("self",)).get(pk=device.pk)
    open_job = device.jobs.open().first()
    if open_job is not None:
        raise RefusedError(already_here(open_job))
    device.transfer_to(customer)
    return device


@transaction.atomic
def record_arrival(job: Job, *, facts: dict[str, Any], stamp: Stamp) -> None:
    """The expected device is here; `facts` are what was seen when it was unpacked."""
    workflow.record_arrival(job, stamp=stamp)
    for name, value in facts.items():
        setattr(job, name, value)
    job.save(update_fields=list(facts))
