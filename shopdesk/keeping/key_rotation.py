"""Change the key of access codes and second factors; a change cut short is repeated.

The old key is kept beside the new one until no row needs it: both are tried meanwhile,
by running servers too (`shopdesk.seal_keys`).
"""

import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import models, transaction

from repairs.jobs import access_codes
from repairs.jobs.models import AccessCode
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.seal_keys import decrypt_any, encrypt_now, is_current, old_file
from shopdesk.staff import second_factor
from shopdesk.staff.models import User


def rotate_key() -> int:
    """Write a new key and encrypt all that is stored with it; return how many rows.

    Raises:
        RefusedError: the key is not in a file of ours.
        DecryptionError: a row has another key. Nothing was changed then.
    """
    file = settings.SEAL_KEY_FILE
    if file is None:
        raise RefusedError(
            "The key comes from ACCESS_CODE_KEY. Remove that variable, and write the"
            f" key into {settings.DATA_DIR / settings.KEY_FILES[1]} first."
        )
    old = old_file(file)
    if not old.exists():
        write_key(old, file.read_text())
    if old.read_text() == file.read_text():
        write_key(file, secrets.token_urlsafe(48))
    count = encrypt_again()
    # Again, for a request that had read the old key just before.
    count += encrypt_again()
    old.unlink()
    sync(file.parent)
    return count


def write_key(path: Path, key: str) -> None:
    """Write a key that is on the disk, complete, before anyone reads it."""
    part = path.with_name(f"{path.name}.part")
    with open(part, "w", opener=_private) as file:
        file.write(key)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, path)
    sync(path.parent)


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def sync(folder: Path) -> None:
    """Wait until the names in the folder are on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@transaction.atomic
def encrypt_again() -> int:
    """Encrypt what another key has encrypted with the key in use, all or nothing."""
    count = 0
    for row, name, bound_to in _outdated():
        text = decrypt_any(bytes(getattr(row, name)), **bound_to)
        setattr(row, name, encrypt_now(text, **bound_to))
        row.save(update_fields=[name])
        count += 1
    if count:
        record_event(Action.KEY_CHANGED, rows=count)
    return count


def _outdated() -> Iterator[tuple[models.Model, str, dict[str, Any]]]:
    """Yield what the key in use does not decrypt: row, field, what it is bound to."""
    for code in AccessCode.objects.select_for_update().order_by("pk"):
        bound_to = access_codes.bound_to(code.job_id)
        if not is_current(bytes(code.ciphertext), **bound_to):
            yield code, "ciphertext", bound_to
    users = User.objects.select_for_update().exclude(totp_secret=None)
    for user in users.order_by("pk"):
        bound_to = second_factor.bound_to(user.pk)
        if not is_current(bytes(user.totp_secret), **bound_to):
            yield user, "totp_secret", bound_to
