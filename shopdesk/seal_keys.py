"""Which keys encrypt and decrypt access codes and second factors?

They are read from their files each time, so that a running server uses the new key from
the moment `rotate_key` has written it, and reads what is still encrypted with the old.
"""

from contextlib import suppress
from pathlib import Path

from django.conf import settings

from shopdesk.encryption import DecryptionError, decrypt, encrypt


def encrypt_now(text: str, *, purpose: str, record: str) -> bytes:
    """Encrypt with the key in use."""
    return encrypt(text, purpose=purpose, record=record, secret=seal_keys()[0])


def decrypt_any(stored: bytes, *, purpose: str, record: str) -> str:
    """Decrypt with the key in use, or the old one.

    Raises: DecryptionError if neither is right.
    """
    current, *old = seal_keys()
    for key in old:
        try:
            return decrypt(stored, purpose=purpose, record=record, secret=key)
        except DecryptionError:
            continue
    return decrypt(stored, purpose=purpose, record=record, secret=current)


def is_current(stored: bytes, *, purpose: str, record: str) -> bool:
    """Whether the key in use decrypts it."""
    try:
        decrypt(stored, purpose=purpose, record=record, secret=seal_keys()[0])
    except DecryptionError:
        return False
    return True


def seal_keys() -> list[str]:
    """Return the key in use, and the one before while a change of keys is under way."""
    file = settings.SEAL_KEY_FILE
    if file is None or not file.exists():
        return [settings.ACCESS_CODE_KEY]
    found = [file.read_text()]
    with suppress(FileNotFoundError):
        found.append(old_file(file).read_text())
    return found


def old_file(file: Path) -> Path:
    """Return where the key before is kept until nothing needs it."""
    return file.with_name(f"{file.name}.old")
