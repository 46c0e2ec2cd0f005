"""The time zone of the shop, which decides when a day ends."""

from collections.abc import Callable
from datetime import tzinfo
from functools import cached_property
from zoneinfo import ZoneInfo

from django.db import DatabaseError
from django.utils import timezone

from shopdesk.shop.models import Shop


class ShopZone(tzinfo):
    """The time zone of a shop, which is read when the first day or moment is needed.

    A page that needs none, such as one that reports a failure, reads no database.
    """

    def __init__(self, get_shop: Callable[[], Shop]):
        self._get_shop = get_shop

    @cached_property
    def _zone(self):
        """The chosen zone; the server's without a choice or a readable database."""
        try:
            return ZoneInfo(self._get_shop().time_zone)
        except (DatabaseError, ValueError, KeyError, OSError):
            return timezone.get_default_timezone()

    def __str__(self):
        return str(self._zone)

    def utcoffset(self, moment):
        return self._zone.utcoffset(moment)

    def dst(self, moment):
        return self._zone.dst(moment)

    def tzname(self, moment):
        return self._zone.tzname(moment)

    def fromutc(self, moment):
        return self._zone.fromutc(moment.replace(tzinfo=self._zone))


def use_shop_time_zone() -> None:
    """Let a command count days as the shop does."""
    if Shop.has_records():
        timezone.activate(ShopZone(Shop.current))
