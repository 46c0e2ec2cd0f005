"""Pages on which people see to their own second factor and their sessions."""

from django.conf import settings
from django.contrib import messages
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from shopdesk.errors import RefusedError
from shopdesk.look.forms import saved
from shopdesk.screen_language import language_of_user, locale_of
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff import actions
from shopdesk.staff.forms import ActivateForm, LanguageForm
from shopdesk.staff.second_factor import address_for_app, secret_of
from shopdesk.staff.sessions import devices
from shopdesk.stamp import Stamp


def second_factor(request):
    """The state of one's second factor, and the steps of setting it up."""
    return _second_factor_page(request, ActivateForm())


def _second_factor_page(request, form):
    user = request.user
    facts = {"form": form, "is_required": user.lacks_second_factor(request.shop)}
    if facts["is_required"]:
        facts["due_at"] = user.second_factor_due_at
        facts["is_due"] = user.second_factor_due_at <= timezone.now()
    if user.has_second_factor:
        facts["codes_left"] = user.recovery_codes.filter(used_at=None).count()
    elif user.totp_secret is not None:
        try:
            facts["secret"] = secret_of(user)
            facts["address"] = address_for_app(user, shop=request.shop.name)
        except RefusedError:  # another key: it is created again
            pass
    return render(request, "shopdesk/staff/second_factor.html", facts)


@require_POST
def start_second_factor(request):
    attempt(request, None, actions.start_second_factor, request.user)
    return redirect("staff:second_factor")


@require_POST
@sensitive_post_parameters()
def activate_second_factor(request):
    form = ActivateForm(request.POST)
    if form.is_valid():
        activated = attempt(
            request,
            form,
            actions.activate_second_factor,
            request.user,
            field="code",
            code=form.cleaned_data["code"],
            keep=request.session.session_key,
            stamp=Stamp.of(request),
        )
        if activated:
            messages.success(request, gettext("Your second factor is set up."))
            return _show_recovery_codes(request, activated.result)
    return _second_factor_page(request, form)


@require_POST
def remove_second_factor(request):
    keep = request.session.session_key
    attempt(request, None, actions.remove_second_factor, request.user, keep=keep)
    messages.success(request, gettext("Your second factor was removed."))
    return redirect("staff:second_factor")


@require_POST
def recovery_codes(request):
    """Replace the recovery codes and show the new ones."""
    replaced = attempt(
        request,
        None,
        actions.replace_recovery_codes,
        request.user,
        keep=request.session.session_key,
    )
    if not replaced:
        return redirect("staff:second_factor")
    return _show_recovery_codes(request, replaced.result)


def _show_recovery_codes(request, codes):
    """Show the codes in this response only; so it is no redirect."""
    return render(request, "shopdesk/staff/recovery_codes.html", {"codes": codes})


def language(request):
    """Choose the language of one's own screens, if there are several."""
    if len(settings.SCREEN_LANGUAGES) == 1:
        raise Http404
    form = LanguageForm(request.POST or None, instance=request.user)
    chosen = language_of_user(form["language"].data or "")
    with translation.override(locale_of(chosen)):
        message = gettext("Language saved.")
    if saved(request, form, message=message):
        return redirect("staff:language")
    facts = {"title": gettext("Language"), "form": form, "cancel": reverse("today")}
    return render(request, "shopdesk/look/edit.html", facts)


def own_devices(request):
    found = devices(request.user, here=request.session.session_key)
    return render(request, "shopdesk/staff/devices.html", {"devices": found})


@require_POST
def end_device(request):
    """End one other session, or all others if none is named."""
    ended = actions.sign_out_elsewhere(
        request.user,
        keep=request.session.session_key,
        key=request.POST.get("device", "")[:64],
    )
    text = {
        0: gettext("That session had already ended."),
        1: gettext("1 session was ended."),
    }
    messages.success(
        request,
        text.get(ended, gettext("%(ended)s sessions were ended.") % {"ended": ended}),
    )
    return redirect("staff:devices")
