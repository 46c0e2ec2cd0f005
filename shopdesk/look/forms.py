"""How forms look, and how a refusal is shown in them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.forms.renderers import TemplatesSetting
from django.shortcuts import redirect, render

from shopdesk.errors import RefusedError


class FormRenderer(TemplatesSetting):
    """Renders forms and fields by our templates, with errors linked to fields.

    `{{ form }}` gives all fields, `{{ form.name.as_field_group }}` gives one.
    """

    form_template_name = "shopdesk/look/form.html"
    field_template_name = "shopdesk/look/field.html"
    formset_template_name = "shopdesk/look/formset.html"


def saved(request, form) -> bool:
    """Save a valid form of a record with its links; return whether it was saved.

    The form has checked that the record is new, but someone else may have added it
    since.
    """
    if not form.is_valid():
        return False
    try:
        with transaction.atomic():
            form.save()
    except IntegrityError:
        fields = form.instance._meta.fields
        unique = (f.name for f in fields if f.unique and f.name in form.fields)
        form.add_error(
            next(unique, None),
            "This entry already exists. Someone else added it just now.",
        )
        return False
    messages.success(request, f"{form.instance} saved.")
    return True


def edit_page(
    request,
    form,
    *,
    title: str,
    cancel: str = "",
    after: str = "",
    template: str = "shopdesk/look/edit.html",
    **facts,
):
    """Save the form of a record and open `after`, or show the form on its own page.

    `cancel` and `after` are the record itself if left out.
    """
    cancel = cancel or form.instance.get_absolute_url()
    if saved(request, form):
        return redirect(after or form.instance)
    facts |= {"title": title, "form": form, "cancel": cancel}
    return render(request, template, facts)


@dataclass(frozen=True)
class Attempt:
    """The result of an action; true if it was done."""

    is_done: bool
    result: Any = None

    def __bool__(self) -> bool:
        return self.is_done


def attempt(request, form, action: Callable, *args, field: str | None = None, **facts):
    """Call `action` and return an `Attempt`; show a refusal where the user looks.

    That is beside `field` of the form, above all its fields, or as a message if `form`
    is None. The entries stay in the form.
    """
    try:
        return Attempt(True, action(*args, **facts))
    except RefusedError as refusal:
        if form is None:
            messages.error(request, str(refusal))
        else:
            form.add_error(field, str(refusal))
        return Attempt(False)
