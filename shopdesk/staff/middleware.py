"""The one place that asks who may open a door."""

from functools import cache
from time import time
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.core.exceptions import PermissionDenied
from django.http import QueryDict
from django.shortcuts import redirect, resolve_url
from django.utils.module_loading import import_string
from django_htmx.http import HttpResponseClientRedirect

# Open to those who still have to make a password of their own.
BEFORE_OWN_PASSWORD = frozenset({"staff:password", "staff:sign_out"})
SEEN_EVERY = 300  # seconds; not a write to the database for every page


@cache
def doors():
    """The table named by settings.DOORS: URL name -> the kinds of staff let in."""
    return import_string(settings.DOORS)


def may(user, name: str) -> bool:
    """Whether `user` may open the URL called `name`."""
    return user.is_authenticated and user.kind in doors().get(name, ())


class Presence:
    """Signs out who was away for long, and everybody after a long day."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        session = request.session
        # Without the mark there is nobody to sign out.
        if "since" in session:
            now = int(time())
            away, whole = now - session["seen"], now - session["since"]
            if away > settings.SESSION_IDLE or whole > settings.SESSION_WHOLE:
                logout(request)
            elif away > SEEN_EVERY:
                session["seen"] = now
        return self.get_response(request)


class SignInFirst(LoginRequiredMiddleware):
    """Sends strangers to the sign-in page; the whole page, not a part within it."""

    def handle_no_permission(self, request, view):
        if not request.htmx:
            return super().handle_no_permission(request, view)
        asked = QueryDict(mutable=True)
        asked["next"] = urlsplit(request.htmx.current_url_abs_path or "").path or "/"
        return HttpResponseClientRedirect(
            f"{resolve_url(settings.LOGIN_URL)}?{asked.urlencode(safe='/')}"
        )


class Doors:
    """Shuts every URL that the table does not open to this kind of staff.

    Runs behind SignInFirst, which has sent strangers to the sign-in page.
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
        name = request.resolver_match.view_name
        if request.user.must_change_password and name not in BEFORE_OWN_PASSWORD:
            if request.htmx:
                return HttpResponseClientRedirect(resolve_url("staff:password"))
            return redirect("staff:password")
        if not may(request.user, name):
            raise PermissionDenied
        return None
