"""The device leaves: bill, payment, cover and the last step of the job, or none."""

from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from billing.invoices.actions import issue
from billing.invoices.models import Invoice
from repairs.jobs import states
from repairs.jobs.models import Job, NotYet


@transaction.atomic
def hand_back(
    job: Job,
    *,
    version: int | None,
    on: date,
    at: datetime,
    by,
    paid: Decimal = Decimal(0),
    means: str = "",
    key: UUID | None = None,
) -> Invoice | None:
    """Hand the device over; returns its bill, or None where it was handed back before.

    `version` is that of the job as the desk saw it: a bill that has changed since is
    not sprung on anybody.
    """
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.state == states.HANDED_BACK:
        return None
    if job.state != states.READY:
        raise NotYet(not_ready(job))
    with job.changing(version=version, by=by):
        job.hand_back(on=on, by=by)
        return issue(job, on=on, at=at, by=by, paid=paid, means=means, key=key)


def not_ready(job: Job) -> str:
    """Why the device stays here, in a sentence."""
    return (
        f"Job {job.number} is {job.get_state_display()}: it can be handed back once the"
        " bench has closed it."
    )
