"""The pages by which a session starts, is confirmed and ends."""

from time import time
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.http import Http404
from django.shortcuts import redirect, render, resolve_url
from django.urls import Resolver404, resolve
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django_htmx.http import HttpResponseClientRedirect, reswap, retarget

from shopdesk.errors import RefusedError
from shopdesk.serving.request_log import (
    CONFIRMATION_FAILED,
    FORM_REFUSED,
    SIGN_IN_FAILED,
    note_event,
)
from shopdesk.shop import clock
from shopdesk.staff import actions, held_forms
from shopdesk.staff.browsers import name_browser
from shopdesk.staff.forms import (
    ConfirmForm,
    PasswordForm,
    SetUpForm,
    SignInCodeForm,
    SignInForm,
)
from shopdesk.staff.models import User
from shopdesk.staff.permissions import can_open
from shopdesk.staff.rate_limit import FailureCount, wait_text

CONFIRMATION_SECONDS = 600
SECOND_STEP_SECONDS = 300


def _start_session(request, user):
    """Sign in, and store the time: the middleware ends the session after a while."""
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    now, is_behind = session_clock(request)
    request.session.update({"since": now, "seen": now, "confirmed": int(time())})
    request.session["behind"] = is_behind
    request.session["browser"] = name_browser(request.headers.get("User-Agent", ""))
    request.session.pop("second_step", None)
    request.session.clear_expired()


def session_clock(request) -> tuple[int, bool]:
    """Return the moment by which sessions end, and whether the clock was set back.

    By less than a day, it is the moment before that. By more, only sessions that began
    since then go on, judged by this clock, as there is no other.
    """
    now = timezone.now()
    is_behind = request.latest - now > clock.JUMP
    return int((now if is_behind else request.latest).timestamp()), is_behind


def is_confirmed(request) -> bool:
    """Whether the user gave their password in the last ten minutes."""
    # Nor is it confirmed for longer if the clock was set back.
    return abs(time() - request.session.get("confirmed", 0)) < CONFIRMATION_SECONDS


def _redirect_target(request):
    """Return the requested page, if it is on this host; else Today."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    is_ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_ours else resolve_url(settings.LOGIN_REDIRECT_URL)


def locked_out(request, response, credentials):
    """Return the page shown while django-axes locks a name at an address."""
    return _too_many_attempts(request, int(settings.AXES_COOLOFF_TIME * 3600))


def _too_many_attempts(request, wait):
    """Return the sign-in page, which carries on what it carried."""
    response = _sign_in_page(request, SignInForm(request), wait=wait_text(wait))
    response.status_code = 429
    response["Retry-After"] = wait
    return response


@sensitive_post_parameters()
@never_cache
@login_not_required
def sign_in(request):
    if request.user.is_authenticated:
        return _continue(request)
    if not User.objects.exists():
        return redirect("staff:set_up")
    failures = FailureCount.of_sign_ins(request)
    if request.POST and (wait := failures.seconds_to_wait(at=timezone.now())):
        return _too_many_attempts(request, wait)
    form = SignInForm(request, request.POST or None)
    if form.is_valid():
        if form.user.has_second_factor:
            request.session["second_step"] = _second_step(form.user)
            return _code_page(request, SignInCodeForm(form.user))
        return _sign_in(request, form.user)
    if form.non_field_errors():
        failures.add(at=timezone.now())
        note_event(request, SIGN_IN_FAILED)
    return _sign_in_page(request, form)


def _sign_in_page(request, form, **facts):
    facts = _carried(request) | facts | {"form": form}
    return render(request, "shopdesk/staff/sign_in.html", facts)


def _second_step(user):
    """Return what is stored until the code is given, or the password changed."""
    return {"user": user.pk, "hash": user.get_session_auth_hash(), "at": int(time())}


def _user_of_second_step(request):
    """Return who gave the right password in this session just now."""
    step = request.session.get("second_step")
    if not step or abs(time() - step["at"]) > SECOND_STEP_SECONDS:
        return None
    user = User.objects.filter(pk=step["user"], is_active=True).first()
    if user is None or user.get_session_auth_hash() != step["hash"]:
        return None
    return user


@sensitive_post_parameters()
@never_cache
@login_not_required
def code(request):
    """Ask for the code of the second factor, after the password."""
    if request.user.is_authenticated:
        return _continue(request)
    user = _user_of_second_step(request)
    if user is None:
        return _sign_in_page(request, SignInForm(request))
    form = SignInCodeForm(user, request.POST or None)
    if form.is_valid():
        return _sign_in(request, user)
    if form.errors:
        note_event(request, SIGN_IN_FAILED)
    return _code_page(request, form)


def _code_page(request, form):
    facts = _carried(request) | {"form": form}
    return render(request, "shopdesk/staff/code.html", facts)


def _sign_in(request, user):
    """Start the session, and ask an owner to set up a second factor if required."""
    _start_session(request, user)
    if request.POST.get(held_forms.FIELD) or user.must_change_password:
        return _continue(request)
    if user.lacks_second_factor(request.shop):
        target = _redirect_target(request)
        return redirect_to_login(target, resolve_url("staff:second_factor"))
    return _continue(request)


def _carried(request):
    """Return what every page on the way to `_continue` passes on in hidden fields."""
    return {
        "next": _redirect_target(request),
        "held": request.POST.get(held_forms.FIELD, ""),
    }


def _continue(request):
    """Show entries that were kept for this user, else open the requested page."""
    field = request.POST.get(held_forms.FIELD)
    if not field:
        return redirect(_landing(request))
    if request.user.must_change_password:
        return _password_page(request, PasswordForm(request.user))
    held = held_forms.read(field, request.user)
    if held:
        return _kept_page(request, held)
    messages.warning(
        request,
        gettext(
            "The entries that were kept belong to someone else or can no longer"
            " be read."
            " They were not saved."
        ),
    )
    return redirect(_landing(request))


def _landing(request):
    """Return the requested page, or Today if this user may not open it."""
    target = _redirect_target(request)
    try:
        name = resolve(urlsplit(target).path).view_name
    except Resolver404:
        return target
    return target if can_open(request.user, name) else resolve_url("today")


def _kept_page(request, held):
    return render(request, "shopdesk/staff/kept.html", {"held": held})


def ask_to_sign_in(request, user):
    """Return the sign-in page, which keeps the entries that `user` has just sent."""
    if not user.is_active:
        page = render(request, "shopdesk/staff/deactivated.html", status=403)
    else:
        page = _sign_in_page(
            request,
            SignInForm(request),
            held=held_forms.hold(request, user),
            next=_redirect_target(request),
            is_interrupted=True,
            has_files=bool(request.FILES),
        )
    return _whole_page(request, page)


def ask_to_confirm(request):
    """Return the page that asks for the password; it keeps what was just sent."""
    if request.method != "POST":
        asked = request.htmx.current_url_abs_path or request.get_full_path()
        answer = redirect_to_login(asked, resolve_url("staff:confirm"))
        return HttpResponseClientRedirect(answer.url) if request.htmx else answer
    page = _confirm_page(
        request,
        ConfirmForm(request.user),
        held=held_forms.hold(request, request.user),
        is_interrupted=True,
        has_files=bool(request.FILES),
    )
    return _whole_page(request, page)


def _whole_page(request, page):
    """Let a page that answers a form replace the whole page, also by htmx."""
    add_never_cache_headers(page)
    if request.htmx:
        page.status_code = 200  # others are not shown
        return reswap(retarget(page, "body"), "innerHTML")
    page.status_code = 403  # nothing was done
    return page


def csrf_failure(request, reason=""):
    """Keep the entries of a page that is older than the latest sign-in."""
    note_event(request, FORM_REFUSED)
    typed_by = held_forms.typed_by(request)
    if typed_by and held_forms.FIELD in request.POST:
        # A page on the way through sign-in, which already carries entries.
        if request.user.is_authenticated:
            return _continue(request)
        return _whole_page(request, _sign_in_page(request, SignInForm(request)))
    if typed_by and held_forms.may_keep(request.path):
        if not request.user.is_authenticated:
            return ask_to_sign_in(request, typed_by)
        field = held_forms.hold(request, typed_by)
        held = typed_by == request.user and held_forms.read(field, typed_by)
        if held:
            return _whole_page(request, _kept_page(request, held))
    return render(request, "403_csrf.html", status=403)


@sensitive_post_parameters()
@never_cache
def confirm(request):
    """Ask for the password again, before a page that needs it."""
    form = ConfirmForm(request.user, request.POST or None)
    if form.is_valid():
        request.session["confirmed"] = int(time())
        return _continue(request)
    if form.errors:
        note_event(request, CONFIRMATION_FAILED)
    return _confirm_page(request, form)


def _confirm_page(request, form, **facts):
    facts = _carried(request) | facts | {"form": form}
    return render(request, "shopdesk/staff/confirm.html", facts)


@require_POST
def sign_out(request):
    return _signed_out(request, redirect(settings.LOGOUT_REDIRECT_URL))


@require_POST
def switch(request):
    """Sign out, and come back to the same page after somebody else signed in."""
    return _signed_out(request, redirect_to_login(_redirect_target(request)))


def _signed_out(request, response):
    logout(request)
    # The counter's browser is shared: the next user must not see earlier pages.
    response["Clear-Site-Data"] = '"cache", "storage"'
    response["Cache-Control"] = "no-store, private"
    return response


@sensitive_post_parameters()
@never_cache
@login_not_required
def set_up(request):
    """Create the first owner; afterwards this page does not exist."""
    if User.objects.exists():
        raise Http404
    form = SetUpForm(request.POST or None)
    if form.is_valid():
        facts = form.cleaned_data
        facts.pop("again")
        try:
            owner = actions.set_up(**facts)
        except RefusedError:
            raise Http404 from None
        _start_session(request, owner)
        return redirect("shop:set_up")
    return render(request, "shopdesk/staff/set_up.html", {"form": form})


@sensitive_post_parameters()
def password(request):
    form = PasswordForm(request.user, request.POST or None)
    if form.is_valid():
        actions.set_own_password(
            request.user,
            form.cleaned_data["password"],
            keep=request.session.session_key,
        )
        update_session_auth_hash(request, request.user)
        messages.success(
            request, gettext("Password changed. All other sessions were signed out.")
        )
        return _continue(request)
    return _password_page(request, form)


def _password_page(request, form):
    facts = _carried(request) | {"form": form}
    return render(request, "shopdesk/staff/password.html", facts)
