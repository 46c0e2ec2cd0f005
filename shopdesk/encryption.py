"""Texts stored encrypted: AES-256-GCM, each bound to one record and one purpose.

A text copied to another record cannot be decrypted there, since the record is part of
what is authenticated.
"""

import os
from hashlib import sha256

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from shopdesk.errors import RefusedError

FORMAT = b"\x01"
"""The first byte: the version of the format, should there ever be another."""
NONCE_SIZE = 12


class DecryptionError(RefusedError):
    """A stored text cannot be decrypted."""


def encrypt(text: str, *, purpose: str, record: str, secret: str) -> bytes:
    """Return `text` as it may be stored; never twice the same bytes.

    `record` names what it belongs to, such as `job:17`.
    """
    nonce = os.urandom(NONCE_SIZE)
    bound_to = f"{record}:{purpose}".encode()
    locked = _cipher(purpose, secret).encrypt(nonce, text.encode(), bound_to)
    return FORMAT + nonce + locked


def decrypt(stored: bytes, *, purpose: str, record: str, secret: str) -> str:
    """Return the text that was encrypted for this record and purpose.

    Raises:
        DecryptionError: it was changed, belongs elsewhere, or has another key.
    """
    start = 1 + NONCE_SIZE
    bound_to = f"{record}:{purpose}".encode()
    try:
        if stored[:1] != FORMAT:
            raise InvalidTag
        nonce, locked = stored[1:start], stored[start:]
        return _cipher(purpose, secret).decrypt(nonce, locked, bound_to).decode()
    except (InvalidTag, ValueError) as broken:
        raise DecryptionError(
            f"The stored {purpose} cannot be read: it was changed, belongs to another"
            " record, or was encrypted with another key."
        ) from broken


def _cipher(purpose: str, secret: str) -> AESGCM:
    return AESGCM(sha256(purpose.encode() + b"\0" + secret.encode()).digest())
