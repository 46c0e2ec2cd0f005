"""What opens a customer's device: stored encrypted, shown once, then deleted.

AES-256-GCM, bound to the job: a code copied to another job cannot be decrypted there,
since the id of the job is part of what is authenticated.
"""

import os
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from django.conf import settings
from django.db import transaction

from repairs.jobs.models import AccessCode, Job
from shopdesk.errors import RefusedError
from shopdesk.stamp import Stamp

FORMAT = b"\x01"
"""The first byte: the version of the format, should there ever be another."""
NONCE_SIZE = 12
GONE = "The code was already shown and deleted. Ask the customer again."


class DecryptionError(RefusedError):
    """A stored code cannot be decrypted."""


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
    AccessCode.objects.create(
        job=job, ciphertext=encrypt(code, job=job.pk, secret=settings.ACCESS_CODE_KEY)
    )


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
    code = decrypt(
        bytes(stored.ciphertext), job=job.pk, secret=settings.ACCESS_CODE_KEY
    )
    gone = AccessCode.objects.filter(pk=stored.pk, shown_at=None).update(
        ciphertext=None, shown_at=stamp.at, shown_to=stamp.by, why=why.strip()
    )
    if not gone:
        raise RefusedError(GONE)
    return code


def encrypt(code: str, *, job: int, secret: str) -> bytes:
    """Return `code` as it may lie in the database; never twice the same bytes."""
    nonce = os.urandom(NONCE_SIZE)
    locked = _cipher(secret).encrypt(nonce, code.encode(), _bound_to(job))
    return FORMAT + nonce + locked


def decrypt(stored: bytes, *, job: int, secret: str) -> str:
    """Return the code that was encrypted for `job`."""
    start = 1 + NONCE_SIZE
    try:
        if stored[:1] != FORMAT:
            raise InvalidTag
        nonce, locked = stored[1:start], stored[start:]
        return _cipher(secret).decrypt(nonce, locked, _bound_to(job)).decode()
    except (InvalidTag, ValueError) as broken:
        raise DecryptionError(
            "The stored code cannot be read: it was changed, belongs to another job, or"
            " was encrypted with another key. Ask the customer again."
        ) from broken


def _cipher(secret: str) -> AESGCM:
    return AESGCM(sha256(b"access code\0" + secret.encode()).digest())


def _bound_to(job: int) -> bytes:
    return b"job:%d:access code" % job
