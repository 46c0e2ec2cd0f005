"""What opens a customer's device: stored encrypted, shown once, then deleted.

It is bound to the job: a code copied to another job cannot be decrypted there.
"""

from django.conf import settings
from django.db import transaction

from repairs.jobs.models import AccessCode, Job
from shopdesk.encryption import DecryptionError, decrypt, encrypt
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.stamp import Stamp

GONE = "The code was already shown and deleted. Ask the customer again."


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
    AccessCode.objects.create(job=job, ciphertext=encrypt(code, **_encryption(job)))


@transaction.atomic
def show_access_code(job: Job, *, why: str, stamp: Stamp) -> str:
    """Return the code, for this once: it is deleted with this answer."""
    if not why.strip():
        raise RefusedError("Enter the reason for showing the code.")
    stored = AccessCode.objects.select_for_update().filter(job=job).first()
    if stored is None:
        raise RefusedError("No access code is stored for this job.")
    if stored.ciphertext is None:
        raise RefusedError(GONE)
    try:
        code = decrypt(bytes(stored.ciphertext), **_encryption(job))
    except DecryptionError as broken:
        raise DecryptionError(
            "The stored code cannot be read: it was changed, belongs to another job, or"
            " was encrypted with another key. Ask the customer again."
        ) from broken
    gone = AccessCode.objects.filter(pk=stored.pk, shown_at=None).update(
        ciphertext=None, shown_at=stamp.at, shown_to=stamp.by, why=why.strip()
    )
    if not gone:
        raise RefusedError(GONE)
    record_event(Action.CODE_SHOWN, job, by=stamp.by, why=why.strip())
    return code


def _encryption(job: Job) -> dict[str, str]:
    """Return what a code is bound to, and its key."""
    return {
        "purpose": "access code",
        "record": f"job:{job.pk}",
        "secret": settings.ACCESS_CODE_KEY,
    }
