"""Sign-in, session timeout, and what each page requires: a role, a confirmation."""

from contextlib import suppress
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth import middleware as auth
from django.contrib.auth.views import redirect_to_login
from django.contrib.sessions.backends.base import UpdateError
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError
from django.shortcuts import redirect, resolve_url
from django.utils import timezone, translation
from django_htmx.http import HttpResponseClientRedirect

from shopdesk.look.lists import FILE
from shopdesk.screen_language import (
    default_language,
    language_of_browser,
    language_of_user,
    locale_of,
)
from shopdesk.shop import clock
from shopdesk.staff import held_forms
from shopdesk.staff.permissions import CONFIRMED_URLS, PUBLIC_URLS, can_open
from shopdesk.staff.signing_in import (
    ask_to_confirm,
    ask_to_sign_in,
    is_confirmed,
    session_clock,
)

# Pages allowed while a one-time passphrase is still in use.
ALLOWED_BEFORE_PASSWORD_CHANGE = frozenset(
    {"staff:password", "staff:sign_out", "staff:switch"}
)
# Pages allowed to an owner whose second factor is overdue.
ALLOWED_BEFORE_SECOND_FACTOR = ALLOWED_BEFORE_PASSWORD_CHANGE | {
    "staff:activate_second_factor",
    "staff:confirm",
    "staff:second_factor",
    "staff:start_second_factor",
}
ACTIVITY_UPDATE_SECONDS = 300  # seconds, so that not every page writes to the database


class LanguageMiddleware:
    """Activates the language of the user, or of the browser before a sign-in.

    What customers open starts from the default: their views activate the language of
    documents.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        with translation.override(locale_of(_language_of(request))):
            return self.get_response(request)

    def process_view(self, request, view, args, kwargs):
        name = request.resolver_match.view_name
        if name in PUBLIC_URLS and not name.startswith("staff:"):
            translation.activate(locale_of(default_language()))


def _language_of(request):
    if len(settings.SCREEN_LANGUAGES) == 1:
        return default_language()
    with suppress(DatabaseError):  # a page about the failure follows
        if request.user.is_authenticated:
            return language_of_user(request.user.language)
    return language_of_browser(request.headers.get("Accept-Language", ""))


class SessionTimeoutMiddleware:
    """Signs users out after a period without activity, and after a long day."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        session = request.session
        # Without this entry nobody is signed in.
        if "since" in session:
            now, is_behind = session_clock(request)
            away, whole = now - session["seen"], now - session["since"]
            if (
                away > settings.SESSION_IDLE
                or whole > settings.SESSION_WHOLE
                or away < -clock.JUMP.total_seconds()
                or (is_behind and not session.get("behind"))
            ):
                logout(request)
            elif away > ACTIVITY_UPDATE_SECONDS:
                session["seen"] = now
                _save_activity(session)
        return self.get_response(request)


def _save_activity(session):
    """Save it now: a page can be shown even if the database cannot be written to."""
    with suppress(DatabaseError, UpdateError):
        session.save()
    session.modified = False


class LoginRequiredMiddleware(auth.LoginRequiredMiddleware):
    """Redirects to the sign-in page, also from an htmx request: as a whole page."""

    def handle_no_permission(self, request, view):
        may_hold = request.method == "POST" and held_forms.may_keep(request.path)
        if may_hold and (typed_by := held_forms.typed_by(request)):
            return ask_to_sign_in(request, typed_by)
        if not request.htmx:
            return super().handle_no_permission(request, view)
        asked = urlsplit(request.htmx.current_url_abs_path or "").path or "/"
        return HttpResponseClientRedirect(redirect_to_login(asked).url)


class RolePermissionMiddleware:
    """Refuses every URL that the user's role may not open.

    Runs after LoginRequiredMiddleware, which has redirected anyone not signed in.
    """

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        response = self.get_response(request)
        if getattr(request, "user", None) and request.user.is_authenticated:
            # The counter's browser is shared: it must not keep customer data.
            response.setdefault("Cache-Control", "no-store, private")
            held_forms.note_token(request, response)
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
        if name not in ALLOWED_BEFORE_SECOND_FACTOR and _is_overdue(request):
            if request.htmx:
                return HttpResponseClientRedirect(resolve_url("staff:second_factor"))
            return redirect("staff:second_factor")
        is_export = FILE in request.GET
        if (is_export or name in CONFIRMED_URLS) and not is_confirmed(request):
            return ask_to_confirm(request)
        return None


def _is_overdue(request):
    """Whether the user can no longer postpone the second factor."""
    # In this order, as only few requests need the shop.
    return (
        request.user.second_factor_due_at <= timezone.now()
        and request.user.lacks_second_factor(request.shop)
    )
