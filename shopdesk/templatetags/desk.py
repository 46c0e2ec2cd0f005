"""What templates of every room need: money, days, telephone numbers, marks, links."""

import re
from decimal import Decimal

import phonenumbers
from babel.numbers import format_currency, format_decimal
from django import template
from django.utils import formats, timezone
from django.utils.html import format_html, format_html_join
from django.utils.translation import get_language, gettext

from shopdesk.look.formats import format_share, format_share_range
from shopdesk.look.qr import qr_code
from shopdesk.look.symbols import ATTENTION, SHAPES, icon_for
from shopdesk.money import rounded
from shopdesk.shop import currencies

register = template.Library()

SHARES = re.compile(r"([<>]?[\d.]+(?:–[<>]?[\d.]+)? %)")


@register.filter
def money(amount, shop):
    """An amount as the shop writes it: `{{ line.price|money:shop }}` → €1,234.50."""
    if amount is None or amount == "":
        return ""
    return currencies.written(
        Decimal(amount), currency=shop.currency, locale=_way_of(shop.locale)
    )


def _way_of(locale):
    """How numbers are written now: a paper in German has them as Germans do, unless the
    shop's own way is one of German already, such as the Swiss.
    """
    return currencies.locale_in(get_language() or "", locale=locale)


@register.filter
def price(amount, shop):
    """The price of one, with the further decimals that small parts need: €0.035."""
    if amount is None or amount == "":
        return ""
    if Decimal(amount) == rounded(Decimal(amount), places=shop.places):
        return money(amount, shop)
    text = format_currency(
        Decimal(amount).normalize(),
        shop.currency,
        locale=_way_of(shop.locale),
        decimal_quantization=False,
    )
    return text.replace("\u202f", "\u00a0")


@register.filter
def figure(number, shop):
    """A number as the shop writes it, with no more decimals than it has: 2.5."""
    if number is None or number == "":
        return ""
    text = format_decimal(
        Decimal(number).normalize(),
        locale=_way_of(shop.locale),
        decimal_quantization=False,
    )
    return text.replace("\u202f", "\u00a0")


@register.filter
def no_break(text):
    """A sentence whose shares and limits stay on one line: 35 %, 28–57 %."""
    parts = SHARES.split(str(text))
    pieces = [
        format_html('<span class="whole">{}</span>', part) if n % 2 else part
        for n, part in enumerate(parts)
    ]
    return format_html_join("", "{}", ((piece,) for piece in pieces))


@register.filter
def shop_text(shop, name):
    """Words of the shop: as they were typed, or those it began with, translated."""
    text = getattr(shop, name)
    is_ours = text == shop._meta.get_field(name).default
    return gettext(text) if text and is_ours else text


@register.filter
def day(value):
    """A day as it is shown everywhere: 5 Mar 2026. A moment gives its local day."""
    if not value:
        return ""
    if hasattr(value, "hour"):
        value = timezone.localtime(value) if timezone.is_aware(value) else value
    return formats.date_format(value, gettext("j M Y"))


@register.filter
def moment(value):
    """A moment in the shop's time: 5 Mar 2026, 14:05."""
    if not value:
        return ""
    value = timezone.localtime(value) if timezone.is_aware(value) else value
    return formats.date_format(value, gettext("j M Y, H:i"))


@register.filter
def minutes(value):
    """Whole minutes as people say them: 95 → 1 h 35 min."""
    if value is None or value == "":
        return ""
    hours, rest = divmod(int(value), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


@register.filter
def percent(value, places=0):
    """A share as a percentage: 0.126 → 13 %."""
    return "" if value is None or value == "" else f"{float(value) * 100:.{places}f} %"


@register.filter
def share(value):
    """A probability in percent: `{{ row.risk|share }}` → 2.3 %."""
    return "" if value is None else format_share(value)


@register.filter
def share_range(low, high):
    """Two limits in percent: `{{ row.low|share_range:row.high }}` → 28–55 %."""
    return "" if low is None or high is None else format_share_range(low, high)


@register.filter
def phone(number, shop):
    """A telephone number as one would dial it from the shop: `{{ n|phone:shop }}`."""
    try:
        parsed = phonenumbers.parse(number or "", shop.country)
    except phonenumbers.NumberParseException:
        return number or ""
    at_home = phonenumbers.region_code_for_number(parsed) == shop.country
    form = phonenumbers.PhoneNumberFormat
    return phonenumbers.format_number(
        parsed, form.NATIONAL if at_home else form.INTERNATIONAL
    )


@register.simple_tag
def shape(name):
    """A small drawing that says nothing to a reader: `{% shape "triangle" %}`."""
    line, fill = SHAPES[name]
    return format_html(
        '<svg viewBox="0 0 12 12" aria-hidden="true" focusable="false">'
        '<path d="{}" fill="none" stroke="currentColor" stroke-width="1.6"/>'
        '<path d="{}" fill="currentColor"/></svg>',
        line,
        fill,
    )


@register.simple_tag
def mark(word, shape_name="", hot=None):
    """A state by shape and word: `{% mark job.get_state_display %}`.

    The shape follows the word (shopdesk/look/symbols.py); give one to overrule it.
    """
    if not word:
        return ""
    asks = str(word).lower() in ATTENTION if hot is None else hot
    return format_html(
        '<span class="mark{}">{}{}</span>',
        " hot" if asks else "",
        shape(shape_name or icon_for(str(word))),
        word,
    )


@register.simple_tag
def qr(text, title):
    """The QR code of `text`; `title` is what a reader of the screen or paper hears."""
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
def query(context, key, value, drop=""):
    """The page's own address with one question changed: `{% query "page" 3 %}`."""
    asked = context["request"].GET.copy()
    asked[key] = value
    asked.pop(drop, None)
    return "?" + asked.urlencode()


@register.simple_tag(takes_context=True)
def table_rows(context, table):
    """The rows of a `ListTable`, ready for its template."""
    table.shop = context.get("shop")
    return table.with_html()


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
            for one in found:
                yield from _forms_in({"form": one})


def _target(field):
    """The id that a link to a wrong field must lead to."""
    return f"{field.auto_id}_0" if field.use_fieldset else field.auto_id


@register.simple_tag(takes_context=True)
def problems(context):
    """All that is wrong in `form`, `forms` and `formset`: rows of label, text, id."""
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
    """True where a field may stay empty in a form that also asks for something."""
    return (
        not field.field.required
        and field.widget_type not in ("checkbox", "checkboxselectmultiple")
        and any(other.required for other in field.form.fields.values())
    )
