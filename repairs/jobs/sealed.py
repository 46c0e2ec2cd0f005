"""What opens a customer's device, sealed: AES-256-GCM, bound to its job.

A sealed code copied to another job does not open there: the job's number in the records
is part of what is sealed.
"""

import os
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from shopdesk.errors import RefusedError

FORM = b"\x01"
"""The first byte: which way of sealing this is, should there ever be another."""
NONCE = 12


class DecryptionError(RefusedError):
    """A sealed code that can't be opened, told as a sentence."""


def seal(code: str, *, job: int, secret: str) -> bytes:
    """`code` as it may lie in the database; never twice the same bytes."""
    nonce = os.urandom(NONCE)
    return FORM + nonce + _box(secret).encrypt(nonce, code.encode(), _bound_to(job))


def unseal(sealed: bytes, *, job: int, secret: str) -> str:
    """The code that was sealed for `job`."""
    form, nonce, rest = sealed[:1], sealed[1 : 1 + NONCE], sealed[1 + NONCE :]
    try:
        if form != FORM:
            raise InvalidTag
        return _box(secret).decrypt(nonce, rest, _bound_to(job)).decode()
    except (InvalidTag, ValueError) as broken:
        raise DecryptionError(
            "The kept code can't be opened: it was changed, belongs to another job, or"
            " was sealed with another key. Ask the customer again."
        ) from broken


def _box(secret: str) -> AESGCM:
    return AESGCM(sha256(b"access code\0" + secret.encode()).digest())


def _bound_to(job: int) -> bytes:
    return b"job:%d:access code" % job
