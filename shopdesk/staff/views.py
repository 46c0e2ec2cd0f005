from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext
from django.views.decorators.http import require_POST

from shopdesk.look.lists import list_page
from shopdesk.sent_forms import seen_values
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff import actions
from shopdesk.staff.forms import AddForm, PersonForm
from shopdesk.staff.models import User
from shopdesk.staff.sessions import devices
from shopdesk.staff.tables import StaffTable
from shopdesk.stamp import Stamp


def people(request):
    table = StaffTable(User.objects.all())
    return list_page(request, "shopdesk/staff/people.html", table)


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
    # The form changes a copy of its own.
    form = PersonForm(request.POST or None, instance=User.objects.get(pk=pk))

    def save():
        seen_values.check(form)
        actions.change_person(member, **form.cleaned_data)

    if form.is_valid():
        if attempt(request, form, save):
            messages.success(request, gettext("%(member)s saved.") % {"member": member})
            return redirect("staff:people")
        member.refresh_from_db()
    here = request.session.session_key
    facts = {"form": form, "member": member, "devices": devices(member, here=here)}
    return render(request, "shopdesk/staff/person.html", facts)


@require_POST
def reset(request, pk):
    member = get_object_or_404(User, pk=pk)
    if member == request.user:
        messages.error(request, gettext("Change your own password here."))
        return redirect("staff:password")
    reset = attempt(
        request, None, actions.reset_person, member, stamp=Stamp.of(request)
    )
    if not reset:
        return redirect(member)
    return _show_passphrase(request, member, reset.result)


@require_POST
def end_member_sessions(request, pk):
    member = get_object_or_404(User, pk=pk)
    actions.sign_out_elsewhere(member, keep=request.session.session_key)
    messages.success(
        request, gettext("%(member)s was signed out everywhere.") % {"member": member}
    )
    return redirect(member)


@require_POST
def remove_member_factor(request, pk):
    member = get_object_or_404(User, pk=pk)
    keep = request.session.session_key
    attempt(request, None, actions.remove_second_factor, member, keep=keep)
    messages.success(
        request,
        gettext("The second factor of %(member)s was removed.") % {"member": member},
    )
    return redirect(member)


def _show_passphrase(request, member, passphrase):
    """Show the passphrase in this response only; so it is no redirect."""
    return render(
        request,
        "shopdesk/staff/passphrase.html",
        {"member": member, "passphrase": passphrase},
    )
