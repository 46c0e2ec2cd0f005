"""Sessions in the database: each knows its user, and is found by a hash of its key."""

from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from django.contrib.sessions.backends import db
from django.utils import timezone
from django.utils.translation import gettext

from shopdesk.staff.models import Session, User


class SessionStore(db.SessionStore):
    """Stores a hash of the key, so that the table gives nobody a session."""

    @classmethod
    def get_model_class(cls):
        return Session

    def load(self):
        row = self.model.objects.filter(
            session_key=hash_key(self.session_key), expire_date__gt=timezone.now()
        ).first()
        if row is None:
            self._session_key = None
            return {}
        return self.decode(row.session_data)

    def exists(self, session_key):
        return super().exists(hash_key(session_key))

    def delete(self, session_key=None):
        if session_key := session_key or self.session_key:
            super().delete(hash_key(session_key))

    def create_model_instance(self, data):
        row = super().create_model_instance(data)
        row.session_key = hash_key(row.session_key)
        row.user_id = data.get("_auth_user_id")
        return row


def hash_key(key: str | None) -> str:
    return sha256((key or "").encode()).hexdigest()


@dataclass(frozen=True)
class SignedInDevice:
    """A signed-in browser, as its user sees it. `key` is the hash of the session."""

    key: str
    browser: str
    since: datetime | None
    seen: datetime | None
    is_here: bool


def devices(user: User, *, here: str | None) -> list[SignedInDevice]:
    """Return the sessions of `user`, latest first; `here` is the key of this one."""
    rows = user.sessions.filter(expire_date__gt=timezone.now())
    found = [_device(row, hash_key(here)) for row in rows]
    return sorted(
        found, key=lambda device: (device.is_here, _seconds(device.seen)), reverse=True
    )


def end_sessions(user: User, *, keep: str | None = None, key: str = "") -> int:
    """End all sessions of `user`, or the one of `key`; return how many.

    The session with the key `keep`, in clear, goes on.
    """
    rows = user.sessions.exclude(session_key=hash_key(keep))
    if key:
        rows = rows.filter(session_key=key)
    return rows.delete()[0]


def _device(row: Session, here: str) -> SignedInDevice:
    data = row.get_decoded()
    return SignedInDevice(
        key=row.session_key,
        browser=data.get("browser") or gettext("Unknown browser"),
        since=_moment(data.get("since")),
        seen=_moment(data.get("seen")),
        is_here=row.session_key == here,
    )


def _moment(seconds: int | None) -> datetime | None:
    utc = timezone.get_default_timezone()
    return datetime.fromtimestamp(seconds, tz=utc) if seconds else None


def _seconds(moment: datetime | None) -> float:
    return moment.timestamp() if moment else 0
