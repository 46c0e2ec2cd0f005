"""How every form looks: one renderer for all of them."""

from django.forms.renderers import TemplatesSetting


class DeskRenderer(TemplatesSetting):
    """Forms and fields by our own templates, their errors tied to them for a reader.

    `{{ form }}` gives all fields, `{{ form.name.as_field_group }}` gives one.
    """

    form_template_name = "shopdesk/look/form.html"
    field_template_name = "shopdesk/look/field.html"
    formset_template_name = "shopdesk/look/formset.html"
