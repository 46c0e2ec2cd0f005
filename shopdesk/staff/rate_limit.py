"""Limits how often an address may request a page, and how often a secret is guessed."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from django.conf import settings
from django.db.models import F
from django.utils.crypto import salted_hmac
from django.utils.translation import ngettext

from shopdesk.staff.models import RequestCount


@dataclass(frozen=True)
class RateLimit:
    """At most `requests` within `seconds`."""

    requests: int
    seconds: int = 60


def seconds_to_wait(request, about: str, limit: RateLimit, *, at: datetime) -> int:
    """Count this request; return how long its address must wait, 0 if not at all.

    `about` is what is counted. The address is stored as a keyed hash, for an hour at
    most.
    """
    return seconds_until_allowed(_key(f"{about} {_address(request)}"), limit, at=at)


def seconds_until_allowed(key: str, limit: RateLimit, *, at: datetime) -> int:
    """Count one more request of `key`; return the wait if it was one too many."""
    row = RequestCount.objects.count_one(
        key, most=limit.requests, seconds=limit.seconds, at=at
    )
    if row.count <= limit.requests:
        return 0
    return _rest(row, limit, at=at)


SIGN_IN_LIMIT = RateLimit(30, 15 * 60)
"""Failed sign-ins of one address, with whatever names."""
SECRET_LIMIT = RateLimit(6, 15 * 60)
"""Wrong answers of a person who is asked for their password or code again."""


class FailureCount:
    """Counts failures only; once there were too many, nothing is checked any more."""

    def __init__(self, about: str, limit: RateLimit):
        self.key, self.limit = _key(f"failures {about}"), limit

    @classmethod
    def of_sign_ins(cls, request) -> "FailureCount":
        return cls(f"sign-in {_address(request)}", SIGN_IN_LIMIT)

    @classmethod
    def of_secrets(cls, user) -> "FailureCount":
        return cls(f"secret {user.pk}", SECRET_LIMIT)

    def seconds_to_wait(self, *, at: datetime) -> int:
        """Return the wait after too many failures, 0 if another try is allowed."""
        start = at - timedelta(seconds=self.limit.seconds)
        row = RequestCount.objects.filter(
            key=self.key, window_start__gt=start, count__gte=self.limit.requests
        ).first()
        return _rest(row, self.limit, at=at) if row else 0

    def begin(self, *, at: datetime) -> int:
        """Count an attempt before it is checked; return the wait if it is refused.

        So no more attempts are checked than the limit allows, however many are sent
        at once. `succeed` takes back what was no failure.
        """
        return seconds_until_allowed(self.key, self.limit, at=at)

    def succeed(self) -> None:
        begun = RequestCount.objects.filter(key=self.key, count__gt=0)
        begun.update(count=F("count") - 1)

    def add(self, *, at: datetime) -> None:
        RequestCount.objects.count_one(
            self.key, most=self.limit.requests, seconds=self.limit.seconds, at=at
        )


def wait_text(seconds: int) -> str:
    """Return how long to wait, in words."""
    minutes = -(-seconds // 60)
    text = ngettext("%(count)s minute", "%(count)s minutes", minutes)
    return text % {"count": minutes}


def address_for_axes(request) -> str | None:
    """Return the address for the lock of django-axes, which stores no networks."""
    return _address(request).partition("/")[0] or None


def _address(request) -> str:
    return address_of(
        request.META.get("REMOTE_ADDR", ""),
        forwarded=request.META.get("HTTP_X_FORWARDED_FOR", ""),
        proxies=settings.PROXIES,
    )


def _key(about: str) -> str:
    return salted_hmac("rate limit", about, algorithm="sha256").hexdigest()


def _rest(row: RequestCount, limit: RateLimit, *, at: datetime) -> int:
    return max(1, limit.seconds - int((at - row.window_start).total_seconds()))


def address_of(remote: str, *, forwarded: str = "", proxies: int = 0) -> str:
    """Return whose request it is: the address of the connection.

    `proxies` is the number of our own reverse proxies. Each adds, at the right of
    `forwarded` (X-Forwarded-For), the address it saw; anything further left may be
    forged. Of an IPv6 address only the network counts, as a household has all the rest.
    """
    if proxies > 0:
        seen = [address.strip() for address in forwarded.split(",") if address]
        remote = seen[-proxies] if len(seen) >= proxies else remote
    try:
        address = ip_address(remote)
    except ValueError:
        return ""
    if isinstance(address, IPv6Address):
        if address.ipv4_mapped:
            return str(address.ipv4_mapped)
        return str(ip_network((address, 64), strict=False))
    return str(address)
