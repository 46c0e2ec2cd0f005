"""How forms look, and how the form of a record is saved."""

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.forms.renderers import TemplatesSetting
from django.shortcuts import redirect, render
from django.utils.translation import gettext

from shopdesk.errors import StaleError
from shopdesk.sent_forms import seen_values
from shopdesk.sent_forms.once import act_once


class FormRenderer(TemplatesSetting):
    """Renders forms and fields by our templates, with errors linked to fields.

    `{{ form }}` gives all fields, `{{ form.name.as_field_group }}` gives one.
    """

    form_template_name = "shopdesk/look/form.html"
    field_template_name = "shopdesk/look/field.html"
    formset_template_name = "shopdesk/look/formset.html"


def saved(request, form, *, message: str = "") -> bool:
    """Save a valid form of a record with its links; return whether it was saved.

    It is not if someone else changed the record since the page was opened: then
    `form.conflicts` holds both values of each field, and the entries are kept. The form
    has checked that the record is new, but someone else may have added it since.
    """
    if not form.is_valid():
        return False
    try:
        with act_once(request), transaction.atomic():
            seen_values.check(form)
            form.save()
    except StaleError as refusal:
        form.add_error(None, str(refusal))
        return False
    except IntegrityError:
        fields = form.instance._meta.fields
        unique = (f.name for f in fields if f.unique and f.name in form.fields)
        form.add_error(
            next(unique, None),
            gettext("This entry already exists. Someone else added it just now."),
        )
        return False
    messages.success(
        request, message or gettext("%(instance)s saved.") % {"instance": form.instance}
    )
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
