"""What the counter does to several records at once."""

from datetime import date
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from repairs.customers.models import Customer, Device, DeviceModel
from repairs.jobs import cover, states
from repairs.jobs.actions import decide_return, keep_code
from repairs.jobs.models import Job, NotYet, Repair


def book_in(
    key: UUID,
    *,
    customer: Customer,
    device: Device,
    job: Job,
    is_expected: bool = False,
    against: Repair | None = None,
    code: str = "",
    on: date,
    by,
) -> tuple[Job, bool]:
    """The job of the form `key`, and whether it was made now or by an earlier sending.

    `customer`, `device` and its model may be new; all are saved together or none is.
    """
    try:
        with transaction.atomic():
            done = Job.objects.filter(key=key).first()
            if done is not None:
                return done, False
            if customer.pk is None:
                customer.save()
            job.device = _brought_by(customer, device=device)
            job.key, job.customer, job.booked_in_by = key, customer, by
            job.booked_in_on, job.number = on, Job.next_number(on)
            job.state = states.EXPECTED if is_expected else states.BOOKED_IN
            job.save()
            job.steps.create(old="", new=job.state, by=by, made_at=timezone.now())
            if code:
                keep_code(job, code=code)
            if against is not None:
                _hold_against(against, job=job, on=on, by=by)
            return job, True
    except IntegrityError:
        # Another sending of the same form was a moment quicker.
        done = Job.objects.filter(key=key).first()
        if done is None:
            raise NotYet(
                "Somebody else wrote down the same device just now: look it up again."
            ) from None
        return done, False


def _brought_by(customer: Customer, *, device: Device) -> Device:
    """`device` on record, owned by `customer`; its history goes with it."""
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
    known = Device.objects.select_for_update(of=("self",)).get(pk=device.pk)
    here = known.jobs.open().first()
    if here is not None:
        raise NotYet(f"This device is here already, as job {here.number}.")
    known.pass_on(customer)
    return known


def _hold_against(earlier: Repair, *, job: Job, on: date, by) -> None:
    decide_return(
        job,
        earlier=earlier,
        what=states.UNDECIDED,
        is_covered=cover.is_covered(on, until=earlier.covered_until),
        why="linked at the counter",
        on=on,
        by=by,
    )


@transaction.atomic
def arrive(job: Job, *, facts: dict[str, Any], on: date, by) -> None:
    """The announced device is here, and this is how it looks."""
    job.arrive(on=on, by=by)
    for name, value in facts.items():
        setattr(job, name, value)
    job.save(update_fields=list(facts))
