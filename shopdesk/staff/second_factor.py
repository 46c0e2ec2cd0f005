"""Whether a code of the second factor is right: from an app (RFC 6238), or a spare one.

The app's secret is stored encrypted, bound to the user. Recovery codes are stored as
hashes: 116 bits are beyond guessing, so a plain hash is enough (OWASP ASVS 6.5.2).
"""

import re
from datetime import datetime
from hashlib import sha256

import pyotp
from django.db import transaction
from pyotp.exceptions import OTPVerificationError

from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.seal_keys import decrypt_any, encrypt_now
from shopdesk.staff.models import RecoveryCode, User
from shopdesk.staff.passphrases import random_passphrase

TOLERANCE = 1  # steps of 30 s, for clocks that differ
CODE_COUNT = 10
GROUP_SIZE = 6


def new_secret() -> str:
    return pyotp.random_base32()


def encrypt_secret(secret: str, user: User) -> bytes:
    return encrypt_now(secret, **bound_to(user.pk))


def secret_of(user: User) -> str:
    """Return the secret that is shown while the second factor is set up.

    Raises:
        DecryptionError: it was encrypted with another key.
    """
    return decrypt_any(bytes(user.totp_secret), **bound_to(user.pk))


def address_for_app(user: User, *, shop: str) -> str:
    """Return the otpauth: address that an app reads from the QR code."""
    return pyotp.TOTP(secret_of(user)).provisioning_uri(
        name=user.username, issuer_name=shop
    )


def matching_step(secret: str, code: str, *, at: datetime) -> int | None:
    """Return the 30-second step whose code this is, if it is near `at`.

    Source: RFC 6238, with SHA-1 and six digits, as all apps have it.
    """
    try:
        return pyotp.TOTP(secret).verify_and_get_timecode(
            code, for_time=at, valid_window=TOLERANCE
        )
    except OTPVerificationError:
        return None


def accept_code(user: User, code: str, *, at: datetime) -> bool:
    """Whether the code is right and new; from then on it is used up."""
    code = re.sub(r"[\s-]", "", code).lower()
    if re.fullmatch(r"[0-9]{6}", code):
        return accept_step(user, code, at=at)
    unused = RecoveryCode.objects.filter(user=user, used_at=None)
    with transaction.atomic():
        is_right = unused.filter(code_hash=hash_code(code)).update(used_at=at)
        if is_right:
            record_event(Action.RECOVERY_CODE_USED, user, by=user)
    return bool(is_right)


def accept_step(user: User, code: str, *, at: datetime) -> bool:
    """Whether the code is the app's, and later than the last one accepted."""
    step = matching_step(secret_of(user), code, at=at)
    if step is None:
        return False
    # One statement, so that the same code sent twice at once is accepted once.
    newer = User.objects.filter(pk=user.pk, totp_step__lt=step)
    return bool(newer.update(totp_step=step))


def new_recovery_codes(user: User) -> list[str]:
    """Return ten new codes, which replace all earlier ones."""
    codes = [random_passphrase(GROUP_SIZE) for _ in range(CODE_COUNT)]
    RecoveryCode.objects.filter(user=user).delete()
    RecoveryCode.objects.bulk_create(
        RecoveryCode(user=user, code_hash=hash_code(code.replace("-", "")))
        for code in codes
    )
    return codes


def hash_code(code: str) -> str:
    return sha256(code.encode()).hexdigest()


def bound_to(user_pk: int) -> dict[str, str]:
    """Return what a secret is bound to: it can be decrypted only there."""
    return {"purpose": "second factor", "record": f"user:{user_pk}"}
