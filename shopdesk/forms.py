"""How every form looks: one renderer for all of them."""

from django.db import IntegrityError, transaction
from django.forms.renderers import TemplatesSetting


class DeskRenderer(TemplatesSetting):
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
        form.add_error(unique, "Somebody else has just added this one.")
        return False
    return True
