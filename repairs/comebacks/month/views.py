"""The month: how its repairs do, what is to come, what changed, and what to blame."""

from datetime import date
from functools import partial

from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django_tables2 import RequestConfig

from repairs.comebacks.behind import queries
from repairs.comebacks.behind.tables import RepairsTable
from repairs.comebacks.behind.views import ask, which_asked
from repairs.comebacks.context import record_of, repairs_asked
from repairs.comebacks.month.context import groups_of, month_of
from repairs.comebacks.month.forms import BoardForm, WhenForm
from repairs.comebacks.month.months import said
from repairs.comebacks.month.named import BOARD, DELIVERY, MODEL
from repairs.comebacks.month.tables import BoardTable, DeliveryTable, ModelTable
from repairs.customers.models import DeviceModel
from repairs.stock.models import Delivery
from shopdesk.shop.models import Shop

TABLES = {DELIVERY: DeliveryTable, MODEL: ModelTable, BOARD: BoardTable}


def month(request):
    """What the owner reads once a month."""
    form = ask(request)
    context = {"form": form}
    if form.is_valid():
        context |= month_of(form.asked, shop=request.shop)
        context["record"] = record_of(form.asked, shop=request.shop)
        context["asked"] = form.asked
        context["of_all"] = urlencode(form.asked.of_all.in_address)
    return render(request, "repairs/comebacks/month/month.html", context)


def deliveries(request):
    """Which deliveries, models and board revisions return too often."""
    shop, form = _asked(request)
    context = {"form": form}
    if form.is_valid():
        groups = groups_of(**form.cleaned_data, shop=shop)
        configured = RequestConfig(request)
        context["questions"] = urlencode(form.cleaned_data)
        context["bad"] = sum(one.is_bad for one in groups)
        context["tables"] = [
            configured.configure(
                table(
                    [one for one in groups if one.kind == kind],
                    address_of=partial(_address, form),
                )
            )
            for kind, table in TABLES.items()
        ]
    return render(request, "repairs/comebacks/month/deliveries.html", context)


def handed_back(request, year, number):
    """The repairs handed back in one month."""
    if not (1990 <= year <= 9000 and 1 <= number <= 12):
        raise Http404
    first = date(year, number, 1)

    def repairs(as_of):
        return queries.of_month(first, as_of=as_of)

    return _behind(request, f"Handed back in {said(first)}", repairs, back="month")


def delivery(request, pk):
    """The repairs that used a part of one delivery."""
    one = get_object_or_404(Delivery.objects.select_related("part", "supplier"), pk=pk)

    def repairs(as_of):
        return queries.of_delivery(one, as_of=as_of)

    return _behind(request, f"Delivery {one} of {one.part}", repairs)


def model(request, pk):
    """The repairs on one maker's model."""
    one = get_object_or_404(DeviceModel, pk=pk)

    def repairs(as_of):
        return queries.of_model(one, as_of=as_of)

    return _behind(request, str(one), repairs)


def board(request, pk):
    """The repairs on one board revision of a model."""
    one = get_object_or_404(DeviceModel, pk=pk)
    asked = BoardForm(request.GET)
    if not asked.is_valid():
        raise Http404
    revision = asked.cleaned_data["revision"]

    def repairs(as_of):
        return queries.of_board(one, revision, as_of=as_of)

    return _behind(request, f"{one}, board {revision}", repairs)


def _behind(request, heading, repairs, *, back="deliveries"):
    form, which = ask(request), which_asked(request)
    context = {
        "form": form,
        "kept": which.kept("revision"),
        "what": heading,
        "back": reverse(f"comebacks:{back}"),
    }
    if form.is_valid():
        asked = form.asked
        found = repairs(asked.as_of).filter(repairs_asked(asked))
        found = queries.behind(found, as_of=asked.as_of, within=asked.within)
        rows = [row for row in found if which.has(row, as_of=asked.as_of)]
        table = RepairsTable(rows)
        context["asked"] = asked
        context["questions"] = urlencode(asked.in_address)
        context["returned"] = sum(row.is_back for row in rows)
        context["repairs"] = len(rows)
        context["table"] = RequestConfig(request).configure(table)
    return render(request, "repairs/comebacks/month/behind.html", context)


def _asked(request):
    """The shop, asked for once, and the question of the address."""
    request.shop = Shop.current()
    form = WhenForm(
        request.GET,
        today=timezone.localdate(),
        within=request.shop.comeback_period_days,
    )
    return request.shop, form


def _address(form, one, **more):
    asked = [*form.cleaned_data.items(), *one.asked, *more.items()]
    return f"{reverse(f'comebacks:{one.page}', args=one.which)}?{urlencode(asked)}"
