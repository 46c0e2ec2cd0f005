"""Limits how often a network address may request a page without sign-in."""

from dataclasses import dataclass
from datetime import datetime
from ipaddress import IPv6Address, ip_address, ip_network

from django.conf import settings
from django.utils.crypto import salted_hmac

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
    address = address_of(
        request.META.get("REMOTE_ADDR", ""),
        forwarded=request.META.get("HTTP_X_FORWARDED_FOR", ""),
        proxies=settings.PROXIES,
    )
    key = salted_hmac("rate limit", f"{about} {address}", algorithm="sha256")
    return seconds_until_allowed(key.hexdigest(), limit, at=at)


def seconds_until_allowed(key: str, limit: RateLimit, *, at: datetime) -> int:
    """Count one more request of `key`; return the wait if it was one too many."""
    row = RequestCount.objects.count_one(
        key, most=limit.requests, seconds=limit.seconds, at=at
    )
    if row.count <= limit.requests:
        return 0
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
