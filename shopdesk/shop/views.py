from django.contrib import messages
from django.http import HttpRequest
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from shopdesk.errors import RefusedError
from shopdesk.sent_forms import seen_values
from shopdesk.sent_forms.attempts import attempt
from shopdesk.shop import actions, clock, currencies, tax
from shopdesk.shop.forms import SettingsForm, SettingsForms
from shopdesk.shop.models import Shop, TaxRule
from shopdesk.shop.presets import preset_of, with_preset
from shopdesk.shop.queries import example, rate_rows, tier_rows, usual_tax_rows
from shopdesk.shop.setting_groups import GROUPS
from shopdesk.shop.setting_up import NewShopForm

KEYS = [group.key for group in GROUPS]


def settings(request):
    """Show and save all settings of the shop."""
    shop = Shop.current()
    today = timezone.localdate()
    pressed = request.POST.get("then", "")
    entered = SettingsForms(
        shop, on=today, data=request.POST or None, files=request.FILES or None
    )

    def save():
        seen_values.check(entered.shop)
        entered.save()

    is_valid = request.method == "POST" and entered.is_valid()
    if is_valid and attempt(request, entered.shop, save):
        messages.success(request, gettext("Settings saved. New documents use them."))
        back = _back(request, _drop(request, pressed, on=today))
        if shop.set_up_on is None or "country" not in entered.shop.changed_data:
            return back
        former = entered.shop.initial["country"]
        return redirect(f"{reverse('customers:phones')}?from={former}")
    # The form has already set invalid values on the record.
    saved = Shop.current()
    context = {
        "form": entered.shop,
        "forms": entered.added,
        "rate_form": entered.rate,
        "rule_form": entered.rule,
        "tier_form": entered.tier,
        "groups": entered.groups(open_key=request.GET.get("at", "")),
        "rates": rate_rows(today),
        "rules": TaxRule.objects.all(),
        "usual_taxes": usual_tax_rows(saved, on=today),
        "sold": tax.SOLD,
        "tiers": tier_rows(saved),
        "saved": saved,
        "example": example(
            {name: getattr(saved, name) for name in SettingsForm.Meta.fields}, on=today
        ),
    }
    return render(request, "shopdesk/shop/settings.html", context)


def set_up(request):
    """Ask what quotes and invoices need: first the country, then the rest. Once."""
    shop = Shop.current()
    if shop.set_up_on is not None:
        return redirect("shop:settings")
    country = request.GET.get("country", "")
    if country not in currencies.countries():
        return render(
            request,
            "shopdesk/shop/choose_country.html",
            {"usual": with_preset(), "countries": currencies.countries()},
        )
    form = NewShopForm(
        request.POST or None,
        instance=shop,
        country=country,
        preset=preset_of(country),
    )
    today = timezone.localdate()
    if form.is_valid() and attempt(request, form, form.save_on, today):
        messages.success(request, gettext("The shop is set up. Quotes can be sent."))
        return redirect("today")
    facts = {"form": form, "country": currencies.countries()[country]}
    return render(request, "shopdesk/shop/set_up.html", facts)


@require_POST
def confirm_clock(request):
    """The owner says that the date of the server is right."""
    shop, now = Shop.current(), timezone.now()
    attempt(request, None, clock.confirm, shop, now=now)
    messages.success(request, gettext("Date confirmed."))
    return redirect("today")


def _drop(request: HttpRequest, pressed: str, *, on) -> str:
    """Delete what the pressed button names; return the group to show then."""
    what, _, pk = pressed.partition(" ")
    if not (pk.isascii() and pk.isdigit() and len(pk) < 19):
        return pressed
    if what == "tier":
        actions.delete_tier(int(pk))
        return "parts"
    if what == "rule":
        actions.delete_rule(int(pk))
        return "tax"
    if what == "rate":
        try:
            actions.delete_rate(int(pk), on=on)
        except RefusedError as refusal:
            messages.error(request, str(refusal))
        return "tax"
    return pressed


def _back(request: HttpRequest, group: str):
    page = reverse("shop:settings")
    return redirect(f"{page}?at={group}#{group}" if group in KEYS else page)


@require_GET
def examples(request):
    """Show a preview of the entered settings on a document."""
    form = SettingsForm(request.GET, instance=Shop.current())
    form.is_valid()
    shown = example(form.cleaned_data, on=timezone.localdate())
    return render(request, "shopdesk/shop/_examples.html", {"example": shown})
