from django.utils.functional import SimpleLazyObject

from shopdesk.shop.models import Shop


class ShopMiddleware:
    """Sets `request.shop`, which is loaded once, when first used."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        request.shop = SimpleLazyObject(Shop.current)
        return self.get_response(request)
