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

from shopdesk.staff import actions
from shopdesk.staff.forms import (
    AddForm,
    PasswordForm,
    PersonForm,
    SetUpForm,
    SignInForm,
)
from shopdesk.staff.models import User
from shopdesk.staff.tables import StaffTable


def _let_in(request, user):
    """Signed in; the middleware ends it after a while, so it must know since when."""
    login(request, user, backend="django.contrib.auth.backends.ModelBackend")
    request.session["since"] = request.session["seen"] = int(time())


def _redirect_target(request):
    """The page that was asked for, on this host only; else Today."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    is_ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_ours else resolve_url(settings.LOGIN_REDIRECT_URL)


@sensitive_post_parameters()
@never_cache
@login_not_required
def sign_in(request):
    if request.user.is_authenticated:
        return redirect(_redirect_target(request))
    if not User.objects.exists():
        return redirect("staff:set_up")
    form = SignInForm(request, request.POST or None)
    if form.is_valid():
        _let_in(request, form.user)
        return redirect(_redirect_target(request))
    next_ = _redirect_target(request)
    return render(request, "shopdesk/staff/sign_in.html", {"form": form, "next": next_})


@require_POST
def sign_out(request):
    logout(request)
    response = redirect(settings.LOGOUT_REDIRECT_URL)
    # A shared counter: the next person must not find anything of the last one's.
    response["Clear-Site-Data"] = '"cache", "storage"'
    response["Cache-Control"] = "no-store, private"
    return response


@sensitive_post_parameters()
@never_cache
@login_not_required
def set_up(request):
    """The first owner is made here, once; afterwards there is no such page."""
    if User.objects.exists():
        raise Http404
    form = SetUpForm(request.POST or None)
    if form.is_valid():
        told = form.cleaned_data
        told.pop("again")
        try:
            owner = actions.set_up(**told)
        except actions.Refused:
            raise Http404 from None
        _let_in(request, owner)
        messages.success(
            request, "The shop is open. Look through its figures before the first job."
        )
        return redirect("shop:figures")
    return render(request, "shopdesk/staff/set_up.html", {"form": form})


@sensitive_post_parameters()
def password(request):
    form = PasswordForm(request.user, request.POST or None)
    if form.is_valid():
        request.user.set_own_password(form.cleaned_data["password"])
        update_session_auth_hash(request, request.user)
        messages.success(
            request, "Your password is changed. You were signed out everywhere else."
        )
        return redirect(settings.LOGIN_REDIRECT_URL)
    return render(request, "shopdesk/staff/password.html", {"form": form})


def people(request):
    table = RequestConfig(request).configure(StaffTable(User.objects.all()))
    return render(request, "shopdesk/staff/people.html", {"table": table})


def add(request):
    form = AddForm(request.POST or None)
    if form.is_valid():
        try:
            person, passphrase = actions.add_person(
                **form.cleaned_data, at=timezone.now()
            )
        except actions.Refused as refusal:
            form.add_error("username", str(refusal))
        else:
            return _show_passphrase(request, person, passphrase)
    return render(request, "shopdesk/staff/add.html", {"form": form})


def person(request, pk):
    member = get_object_or_404(User, pk=pk)
    kept = {"name": member.name, "kind": member.kind, "is_active": member.is_active}
    form = PersonForm(request.POST or None, initial=kept)
    if form.is_valid():
        try:
            actions.change_person(member, **form.cleaned_data)
        except actions.Refused as refusal:
            form.add_error(None, str(refusal))
            member.refresh_from_db()
        else:
            messages.success(request, f"{member} is changed.")
            return redirect("staff:people")
    return render(
        request, "shopdesk/staff/person.html", {"form": form, "member": member}
    )


@require_POST
def reset(request, pk):
    member = get_object_or_404(User, pk=pk)
    if member == request.user:
        messages.error(request, "Your own password is changed here.")
        return redirect("staff:password")
    try:
        passphrase = actions.reset_person(member, at=timezone.now())
    except actions.Refused as refusal:
        messages.error(request, str(refusal))
        return redirect(member)
    return _show_passphrase(request, member, passphrase)


def _show_passphrase(request, member, passphrase):
    """Shown in this one answer and never again; so it is no redirect."""
    return render(
        request,
        "shopdesk/staff/passphrase.html",
        {"member": member, "passphrase": passphrase},
    )
