from contextlib import suppress

from django.db import DatabaseError
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from shopdesk.shop import clock
from shopdesk.shop.models import Shop
from shopdesk.shop.time_zone import ShopZone


class ShopMiddleware:
    """Sets `request.shop`, loaded once, when first used; keeps an eye on the clock;
    days are those of the shop's time zone.

    `request.latest` is the moment by which it is judged what has expired.
    """

    def __init__(self, get_response):
        self.get_response = get_response
        self.look = clock.Look()

    def __call__(self, request):
        request.shop = SimpleLazyObject(Shop.current)
        now = timezone.now()
        with suppress(DatabaseError):  # pages can be read when nothing can be written
            clock.watch(request.shop, self.look, now=now)
        request.latest = self.look.latest(now)
        with timezone.override(ShopZone(lambda: request.shop)):
            return self.get_response(request)
