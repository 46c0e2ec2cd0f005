from django.contrib import messages
from django.http import HttpRequest
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from shopdesk.shop import actions
from shopdesk.shop.figures import GROUPS
from shopdesk.shop.forms import Figures, FiguresForm
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import band_rows, example, rate_rows, stamp

KEYS = [group.key for group in GROUPS]


def figures(request):
    """The one page of all that the shop decides for itself."""
    shop = Shop.current()
    today = timezone.localdate()
    pressed = request.POST.get("then", "")
    asked = Figures(
        shop, on=today, data=request.POST or None, files=request.FILES or None
    )
    if asked.shop.is_bound and request.POST.get("seen", stamp()) != stamp():
        asked.shop.add_error(
            None,
            "Somebody changed the figures while you had them open. Nothing of yours is"
            " kept yet: look through them and save again.",
        )
    if request.method == "POST" and asked.is_valid():
        asked.save()
        messages.success(request, "The shop’s figures are kept. New papers use them.")
        return _back(request, _drop(request, pressed, on=today))
    # A wrong form has written on the record what it could not keep.
    kept = Shop.current()
    facts = {
        "form": asked.shop,
        "forms": asked.added,
        "rate_form": asked.rate,
        "band_form": asked.band,
        "groups": asked.groups(asked=request.GET.get("at", "")),
        "rates": rate_rows(today),
        "bands": band_rows(kept),
        "kept": kept,
        "seen": stamp(),
        "example": example(
            {name: getattr(kept, name) for name in FiguresForm.Meta.fields}, on=today
        ),
    }
    return render(request, "shopdesk/shop/figures.html", facts)


def _drop(request: HttpRequest, pressed: str, *, on) -> str:
    """Take away what a button said; the group to show then."""
    what, _, pk = pressed.partition(" ")
    if not (pk.isascii() and pk.isdigit() and len(pk) < 19):
        return pressed
    if what == "band":
        actions.drop_band(int(pk))
        return "parts"
    if what == "rate":
        try:
            actions.drop_rate(int(pk), on=on)
        except actions.RateInUseError as refusal:
            messages.error(request, str(refusal))
        return "tax"
    return pressed


def _back(request: HttpRequest, group: str):
    page = reverse("shop:figures")
    return redirect(f"{page}?at={group}#{group}" if group in KEYS else page)


@require_GET
def examples(request):
    """What the figures in the boxes would look like, before they are kept."""
    form = FiguresForm(request.GET, instance=Shop.current())
    form.is_valid()
    shown = example(form.cleaned_data, on=timezone.localdate())
    return render(request, "shopdesk/shop/_examples.html", {"example": shown})
