from time import time

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from shopdesk.errors import RefusedError
from shopdesk.look.forms import attempt
from shopdesk.staff import actions
from shopdesk.staff.forms import (
    AddForm,
    PasswordForm,
    PersonForm,
    SetUpForm,
    SignInForm,
)
from shopdesk.staff.models import User
from shopdesk.staff.rate_limit import FailureCount, wait_text
from shopdesk.staff.tables import StaffTable
from shopdesk.stamp import Stamp


def _start_session(request, user):
    """Sign in, and store the time: the middleware ends the session after a while."""
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    request.session["since"] = request.session["seen"] = int(time())


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
    response = render(request, "429.html", {"wait": wait_text(wait)}, status=429)
    response["Retry-After"] = wait
    return response


@sensitive_post_parameters()
@never_cache
@login_not_required
def sign_in(request):
    if request.user.is_authenticated:
        return redirect(_redirect_target(request))
    if not User.objects.exists():
        return redirect("staff:set_up")
    failures = FailureCount.of_sign_ins(request)
    if request.POST and (wait := failures.seconds_to_wait(at=timezone.now())):
        return _too_many_attempts(request, wait)
    form = SignInForm(request, request.POST or None)
    if form.is_valid():
        _start_session(request, form.user)
        return redirect(_redirect_target(request))
    if form.non_field_errors():
        failures.add(at=timezone.now())
    next_ = _redirect_target(request)
    return render(request, "shopdesk/staff/sign_in.html", {"form": form, "next": next_})


@require_POST
def sign_out(request):
    logout(request)
    response = redirect(settings.LOGOUT_REDIRECT_URL)
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
        messages.success(
            request, "The shop is set up. Check its settings before the first job."
        )
        return redirect("shop:settings")
    return render(request, "shopdesk/staff/set_up.html", {"form": form})


@sensitive_post_parameters()
def password(request):
    form = PasswordForm(request.user, request.POST or None)
    if form.is_valid():
        request.user.set_own_password(form.cleaned_data["password"])
        update_session_auth_hash(request, request.user)
        messages.success(
            request, "Password changed. All other sessions were signed out."
        )
        return redirect(settings.LOGIN_REDIRECT_URL)
    return render(request, "shopdesk/staff/password.html", {"form": form})


def people(request):
    table = RequestConfig(request).configure(StaffTable(User.objects.all()))
    return render(request, "shopdesk/staff/people.html", {"table": table})


def add(request):
    form = AddForm(request.POST or None)
    if form.is_valid():
        facts = form.cleaned_data | {"stamp": Stamp.of(request)}
        added = attempt(request, form, actions.add_person, field="username", **facts)
        if added:
            return _show_passphrase(request, *added.result)
    return render(request, "shopdesk/staff/add.html", {"form": form})


def person(request, pk):
    member = get_object_or_404(User, pk=pk)
    initial = {"name": member.name, "role": member.role, "is_active": member.is_active}
    form = PersonForm(request.POST or None, initial=initial)
    if form.is_valid():
        if attempt(request, form, actions.change_person, member, **form.cleaned_data):
            messages.success(request, f"{member} saved.")
            return redirect("staff:people")
        member.refresh_from_db()
    return render(
        request, "shopdesk/staff/person.html", {"form": form, "member": member}
    )


@require_POST
def reset(request, pk):
    member = get_object_or_404(User, pk=pk)
    if member == request.user:
        messages.error(request, "Change your own password here.")
        return redirect("staff:password")
    reset = attempt(
        request, None, actions.reset_person, member, stamp=Stamp.of(request)
    )
    if not reset:
        return redirect(member)
    return _show_passphrase(request, member, reset.result)


def _show_passphrase(request, member, passphrase):
    """Show the passphrase in this response only; so it is no redirect."""
    return render(
        request,
        "shopdesk/staff/passphrase.html",
        {"member": member, "passphrase": passphrase},
    )
