"""Tags and filters for templates of every room."""

from django import template
from django.utils.html import format_html
from django.utils.translation import gettext

from shopdesk.look import shop_formats
from shopdesk.look.badges import badge, icon
from shopdesk.look.formats import format_share, format_share_range
from shopdesk.look.qr import qr_code
from shopdesk.sent_forms.once import KEY_FIELD, new_key
from shopdesk.sent_forms.seen_values import hidden_inputs

register = template.Library()
register.simple_tag(badge)
register.simple_tag(icon)
for format_value in (
    shop_formats.money,
    shop_formats.price,
    shop_formats.decimal,
    shop_formats.day,
    shop_formats.moment,
    shop_formats.minutes,
    shop_formats.percent,
    shop_formats.phone,
    shop_formats.shop_text,
    shop_formats.no_break,
):
    register.filter(format_value)


@register.filter
def share(value):
    """Write a probability in percent: `{{ row.risk|share }}` → 2.3 %."""
    return "" if value is None else format_share(value)


@register.filter
def share_range(low, high):
    """Write a range in percent: `{{ row.low|share_range:row.high }}` → 28–55 %."""
    return "" if low is None or high is None else format_share_range(low, high)


@register.simple_tag
def qr(text, title):
    """Return the QR code of `text`; `title` is what screen readers say."""
    code = qr_code(text)
    return format_html(
        '<svg viewBox="0 0 {} {}" role="img" shape-rendering="crispEdges">'
        '<title>{}</title><path fill="#fff" d="M0 0h{}v{}H0z"/>'
        '<path fill="#000" d="{}"/></svg>',
        code.size,
        code.size,
        title,
        code.size,
        code.size,
        code.path,
    )


@register.simple_tag(takes_context=True)
def form_token(context, form=None):
    """Return what every form that changes something carries: `{% form_token %}`.

    That is Django's token against forged requests and a key that lets the form act
    once; with the form of a stored record, also the values that it shows.
    """
    return format_html(
        '<input type="hidden" name="csrfmiddlewaretoken" value="{}">'
        '<input type="hidden" name="{}" value="{}">{}',
        context.get("csrf_token", ""),
        KEY_FIELD,
        new_key(),
        "" if form is None else hidden_inputs(form),
    )


@register.simple_tag(takes_context=True)
def query(context, key, value, drop=""):
    """Return the page's address with one parameter changed: `{% query "page" 3 %}`."""
    asked = context["request"].GET.copy()
    asked[key] = value
    asked.pop(drop, None)
    return "?" + asked.urlencode()


@register.simple_tag(takes_context=True)
def table_rows(context, table):
    """Return the rows of a `ListTable` as HTML."""
    table.shop = context.get("shop")
    return table.rows_html()


@register.simple_tag(takes_context=True)
def tax_label(context, group, is_included):
    """Name the tax of a group of lines as the shop does, or say why there is none."""
    if group.reasons:
        return " · ".join(gettext(reason) for reason in group.reasons)
    rate = shop_formats.decimal(group.rate, context["written_in"])
    shop = context.get("shop")
    name = shop.tax_name if shop else ""
    if is_included:
        text = gettext("Includes {rate} % {tax}")
        return text.format(rate=rate, tax=name or gettext("tax"))
    return f"{name or gettext('Tax')} {rate} %"


def _forms_in(context):
    for name in ("form", "forms", "formset"):
        found = context.get(name)
        if found is None:
            continue
        if hasattr(found, "management_form"):
            yield found.management_form
            yield from found
        elif hasattr(found, "fields"):
            yield found
        elif isinstance(found, list | tuple):
            for form in found:
                yield from _forms_in({"form": form})


def _target(field):
    """Return the id to which a link to a field with an error leads."""
    return f"{field.auto_id}_0" if field.use_fieldset else field.auto_id


@register.simple_tag(takes_context=True)
def problems(context):
    """Return the errors of `form`, `forms` and `formset`: rows of label, text, id."""
    found = []
    for form in _forms_in(context):
        if not form.is_bound:
            continue
        for name, errors in form.errors.items():
            field = form[name] if name in form.fields else None
            seen = field is not None and not field.is_hidden
            for error in errors:
                found.append(
                    {
                        "label": field.label if seen else "",
                        "text": error,
                        "target": _target(field) if seen else "",
                    }
                )
    for formset in (context.get("form"), context.get("formset")):
        if hasattr(formset, "non_form_errors") and formset.is_bound:
            found += [{"text": e} for e in formset.non_form_errors()]
    return found


@register.filter
def is_optional(field):
    """Whether a field may stay empty in a form that has required fields."""
    return (
        not field.field.required
        and field.widget_type not in ("checkbox", "checkboxselectmultiple")
        and any(other.required for other in field.form.fields.values())
    )
