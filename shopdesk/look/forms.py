"""How every form looks and how a refusal is shown in it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.forms.renderers import TemplatesSetting

from shopdesk.errors import RefusedError


class FormRenderer(TemplatesSetting):
    """Forms and fields by our own templates, their errors tied to them for a reader.

    `{{ form }}` gives all fields, `{{ form.name.as_field_group }}` gives one.
    """

    form_template_name = "shopdesk/look/form.html"
    field_template_name = "shopdesk/look/field.html"
    formset_template_name = "shopdesk/look/formset.html"


def saved(form, *, unique: str) -> bool:
    """Save the form of a record, its links too; or say that it is there already.

    The form has looked, but somebody else may have been quicker since.
    """
    try:
        with transaction.atomic():
            form.save()
    except IntegrityError:
        form.add_error(
            unique, "This entry already exists. Someone else added it just now."
        )
        return False
    return True


@dataclass(frozen=True)
class Attempt:
    """What came of an action: true where it was done."""

    is_done: bool
    result: Any = None

    def __bool__(self) -> bool:
        return self.is_done


def attempt(request, form, action: Callable, *args, field: str | None = None, **facts):
    """Call `action` and return an `Attempt`; show a refusal where the user looks.

    That is beside `field` of the form, above all its fields, or as a message where
    `form` is None. What was typed stays in the form.
    """
    try:
        return Attempt(True, action(*args, **facts))
    except RefusedError as refusal:
        if form is None:
            messages.error(request, str(refusal))
        else:
            form.add_error(field, str(refusal))
        return Attempt(False)
