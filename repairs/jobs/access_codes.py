"""What opens a customer's device: stored encrypted until it leaves.

It is bound to the job: a code copied to another job cannot be decrypted there. Each
time it is shown is an event of the trail, with the reason.
"""

from django.db import transaction
from django.db.models import QuerySet

from repairs.jobs.models import AccessCode, Job
from shopdesk.encryption import DecryptionError
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action, TrailEntry
from shopdesk.recording.writing import key_of, record_event
from shopdesk.seal_keys import decrypt_any, encrypt_now
from shopdesk.stamp import Stamp


@transaction.atomic
def store_access_code(job: Job, *, code: str) -> None:
    """Encrypt and store the code, if the customer consents and the job is open."""
    job = Job.objects.select_for_update().get(pk=job.pk)
    if job.data_access != Job.DataAccess.YES:
        raise RefusedError(
            "An access code is stored only with the customer’s consent to data access."
        )
    if not job.is_open:
        raise RefusedError("The device was handed over. No code can be stored.")
    AccessCode.objects.filter(job=job).delete()
    AccessCode.objects.create(job=job, ciphertext=encrypt_now(code, **bound_to(job.pk)))


@transaction.atomic
def show_access_code(job: Job, *, why: str, stamp: Stamp) -> str:
    """Return the code, and record who was shown it, and why."""
    if not why.strip():
        raise RefusedError("Enter the reason for showing the code.")
    stored = AccessCode.objects.filter(job=job).first()
    if stored is None:
        raise RefusedError("No access code is stored for this job.")
    try:
        code = decrypt_any(bytes(stored.ciphertext), **bound_to(job.pk))
    except DecryptionError as broken:
        raise DecryptionError(
            "The stored code cannot be read: it was changed, belongs to another job, or"
            " was encrypted with another key. Ask the customer again."
        ) from broken
    record_event(Action.CODE_SHOWN, job, by=stamp.by, why=why.strip())
    return code


def times_shown(job: Job) -> QuerySet:
    """Return the events of showing the code of this job, the latest first."""
    kind, record = key_of(job)
    events = TrailEntry.objects.about(kind, record)
    return events.filter(action=Action.CODE_SHOWN)


def bound_to(job_pk: int) -> dict[str, str]:
    """Return what a code is bound to: it can be decrypted only there."""
    return {"purpose": "access code", "record": f"job:{job_pk}"}
