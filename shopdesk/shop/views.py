from django.contrib import messages
from django.shortcuts import redirect, render

from shopdesk.shop import known
from shopdesk.shop.forms import FiguresForm
from shopdesk.shop.models import Shop


def figures(request):
    shop = Shop.current()
    sample = known.sample(shop.currency, locale=shop.locale)
    form = FiguresForm(request.POST or None, instance=shop)
    if form.is_valid():
        form.save()
        messages.success(request, "The shop’s figures are kept. New papers use them.")
        return redirect("shop:figures")
    return render(
        request, "shopdesk/shop/figures.html", {"form": form, "sample": sample}
    )
