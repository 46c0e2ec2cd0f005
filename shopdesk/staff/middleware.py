"""Sign-in, its end after a while, and the roles that each page asks for."""

from time import time
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth import middleware as auth
from django.core.exceptions import PermissionDenied
from django.http import QueryDict
from django.shortcuts import redirect, resolve_url
from django_htmx.http import HttpResponseClientRedirect

from shopdesk.staff.permissions import can_open

# Open to those who still have to set a password of their own.
ALLOWED_BEFORE_PASSWORD_CHANGE = frozenset({"staff:password", "staff:sign_out"})
ACTIVITY_UPDATE_SECONDS = 300  # seconds; not a write to the database for every page


class SessionTimeoutMiddleware:
    """Signs out users who were away for long, and everybody after a long day."""

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
            elif away > ACTIVITY_UPDATE_SECONDS:
                session["seen"] = now
        return self.get_response(request)


class LoginRequiredMiddleware(auth.LoginRequiredMiddleware):
    """Redirects to the sign-in page: the whole page, not a part within it."""

    def handle_no_permission(self, request, view):
        if not request.htmx:
            return super().handle_no_permission(request, view)
        asked = QueryDict(mutable=True)
        asked["next"] = urlsplit(request.htmx.current_url_abs_path or "").path or "/"
        return HttpResponseClientRedirect(
            f"{resolve_url(settings.LOGIN_URL)}?{asked.urlencode(safe='/')}"
        )


class RolePermissionMiddleware:
    """Refuses every URL that is not open to the role of the signed-in person.

    Runs after LoginRequiredMiddleware, which has redirected everybody else.
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
        if (
            request.user.must_change_password
            and name not in ALLOWED_BEFORE_PASSWORD_CHANGE
        ):
            if request.htmx:
                return HttpResponseClientRedirect(resolve_url("staff:password"))
            return redirect("staff:password")
        if not can_open(request.user, name):
            raise PermissionDenied
        return None
