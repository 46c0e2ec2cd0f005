"""The one place that asks who may open a door."""

from functools import cache

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.utils.module_loading import import_string


@cache
def doors():
    """The table named by settings.DOORS: URL name -> the kinds of staff let in."""
    return import_string(settings.DOORS)


def may(user, name: str) -> bool:
    """Whether `user` may open the URL called `name`."""
    return user.is_authenticated and user.kind in doors().get(name, ())


class Doors:
    """Shuts every URL that the table does not open to this kind of staff.

    Runs behind LoginRequiredMiddleware, which has sent strangers to the sign-in page.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if getattr(request, "user", None) and request.user.is_authenticated:
            # A shared counter: nothing of a customer stays behind in the browser.
            response.setdefault("Cache-Control", "no-store, private")
        return response

    def process_view(self, request, view, args, kwargs):
        if getattr(view, "login_required", True) is False:
            return None
        if not may(request.user, request.resolver_match.view_name):
            raise PermissionDenied
        return None
