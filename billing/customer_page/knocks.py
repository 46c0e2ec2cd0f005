"""How often somebody may knock at the customer's pages, and who that somebody is."""

from dataclasses import dataclass
from datetime import datetime
from ipaddress import IPv6Address, ip_address, ip_network


@dataclass(frozen=True)
class Limit:
    """No more than `most` knocks within `seconds`."""

    most: int
    seconds: int = 60


READING = Limit(60)
"""Of one page, by one address."""
UNKNOWN = Limit(10)
"""Of links that open nothing, by one address."""
ANSWERING = Limit(5)
"""Answers sent, by one address."""


def seconds_left(*, since: datetime, at: datetime, limit: Limit) -> int:
    """How long to wait until knocks are counted anew; at least a second."""
    return max(1, limit.seconds - int((at - since).total_seconds()))


def address_of(remote: str, *, forwarded: str = "", proxies: int = 0) -> str:
    """Whose knock it is: the address of the connection.

    `proxies` is how many of our own stand before us. Each adds, at the right of
    `forwarded` (X-Forwarded-For), the address it saw; what stands further left was
    written by anybody. Of IPv6 only the network counts: a household has all the rest.
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
