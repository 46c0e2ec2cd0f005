"""What did the sender of a form see, and has it changed since?

The page of a form carries the value of each field as it was then. Only what the form
shows counts: two people may change different parts of one record.
"""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.forms.models import model_to_dict
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext_lazy

from shopdesk.errors import StaleError
from shopdesk.text import clean_text

CHANGED = gettext_lazy(
    "Someone else changed this meanwhile. Nothing of yours is saved yet: compare the"
    " values below, then save again."
)


@dataclass(frozen=True)
class Conflict:
    """A field that someone else changed: what is stored now, and what was entered.

    `entered` is None if the sender had left the field alone.
    """

    label: str
    stored: str
    entered: str | None


def hidden_inputs(form: forms.BaseForm) -> SafeString:
    """Return the inputs that carry what the form of a stored record shows."""
    if not _is_of_stored_record(form):
        return SafeString("")
    inputs = []
    for bound in _shown_fields(form):
        widget = bound.field.hidden_widget()
        value = _seen(bound) if _was_seen(bound) else _shown(bound, bound.initial)
        inputs.append(widget.render(bound.html_initial_name, value))
    return format_html_join("", "{}", ((each,) for each in inputs))


def check(form: forms.ModelForm) -> None:
    """Lock the record of a sent form; raise StaleError if what it showed has changed.

    Then `form.conflicts` lists the fields. Those that the sender had left alone now
    show the stored value and the others what was entered, so that saving again saves
    what the page shows. A form may have `linked_values(record)`, a method that returns
    the values of fields that are not columns of the record.
    """
    if not _is_of_stored_record(form) or not form.is_bound:
        return
    fields = [bound for bound in _shown_fields(form) if _was_seen(bound)]
    if not fields:
        return
    model = type(form.instance)
    record = model._base_manager.select_for_update().get(pk=form.instance.pk)
    stored = model_to_dict(record) | getattr(form, "linked_values", _none)(record)
    changed = [
        bound
        for bound in fields
        if _shown(bound, stored.get(bound.name)) != _seen(bound)
    ]
    if not changed:
        return
    form.conflicts = [_conflict(bound, stored.get(bound.name)) for bound in changed]
    form.data = form.data.copy()
    for bound, conflict in zip(changed, form.conflicts, strict=True):
        value = bound.field.prepare_value(stored.get(bound.name))
        _put(form.data, bound.html_initial_name, bound.field.hidden_widget(), value)
        if conflict.entered is None:
            _put(form.data, bound.html_name, bound.field.widget, value)
    raise StaleError(CHANGED)


def _none(record) -> dict:
    return {}


def _is_of_stored_record(form: forms.BaseForm) -> bool:
    return isinstance(form, forms.ModelForm) and form.instance.pk is not None


def _shown_fields(form: forms.BaseForm) -> list[BoundField]:
    return [bound for bound in form if not isinstance(bound.field, forms.FileField)]


def _was_seen(bound: BoundField) -> bool:
    return bound.form.is_bound and bound.html_initial_name in bound.form.data


def _seen(bound: BoundField) -> str | list[str]:
    """Return the value that the sender saw, as the page sent it back."""
    widget, form = bound.field.hidden_widget(), bound.form
    return _plain(
        widget.value_from_datadict(form.data, form.files, bound.html_initial_name)
    )


def _shown(bound: BoundField, value: Any) -> str | list[str]:
    """Return `value` as a page carries it."""
    widget = bound.field.hidden_widget()
    return _plain(widget.format_value(bound.field.prepare_value(value)))


def _plain(value: Any) -> str | list[str]:
    """Return text as it is when sent: cleaned, its line breaks of one character."""
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return "" if value is None else clean_text(str(value).replace("\r\n", "\n"))


def _conflict(bound: BoundField, stored: Any) -> Conflict:
    entered = bound.data if bound.data is None else _plain(bound.data)
    is_edited = bound.field.has_changed(_to_python(bound), entered)
    return Conflict(
        label=str(bound.label),
        stored=_text(bound.field, stored),
        entered=_text(bound.field, entered) if is_edited else None,
    )


def _to_python(bound: BoundField) -> Any:
    try:
        return bound.field.to_python(_seen(bound))
    except forms.ValidationError:
        return _seen(bound)


def _text(field: forms.Field, value: Any) -> str:
    value = field.prepare_value(value)
    if isinstance(field, forms.BooleanField):
        return "yes" if field.to_python(value) else "no"
    if isinstance(field, forms.ChoiceField):
        labels = {str(key): str(label) for key, label in field.choices}
        values = value if isinstance(value, list | tuple) else [value]
        return ", ".join(labels.get(str(one), str(one or "")) for one in values)
    return str(field.widget.format_value(value) or "")


def _put(data, name: str, widget: forms.Widget, value: Any) -> None:
    """Set an entry as if `value` had been typed into `widget`."""
    if isinstance(widget, forms.CheckboxInput):
        data.pop(name, None)
        if value:
            data[name] = "on"
        return
    shown = widget.format_value(value)
    shown = shown if isinstance(shown, list | tuple) else [shown]
    data.setlist(name, ["" if one is None else str(one) for one in shown])
