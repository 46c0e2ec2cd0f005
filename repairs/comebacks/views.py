"""Which pairs come back, the repairs behind each, and one fault's record for all."""

from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.vary import vary_on_headers
from django_tables2 import RequestConfig

from repairs.comebacks.forest import forest
from repairs.comebacks.forms import AskForm
from repairs.comebacks.queries import (
    comeback_record,
    fixes_beside,
    repairs_behind,
)
from repairs.comebacks.record import FaultRecord
from repairs.comebacks.tables import BehindTable, PairTable
from repairs.faults.models import Fault, Fix
from shopdesk.shop.models import Shop

IN_PICTURE = 40  # rows; a longer picture is no longer one


def table(request):
    """The month's comeback table, what matters first."""
    shop = _shop(request)
    form = _ask(request, shop)
    if not form.is_valid():
        return render(request, "repairs/comebacks/table.html", {"form": form})
    record = comeback_record(**form.cleaned_data, shop=shop)
    pairs = PairTable(record.rows, address_of=lambda row: _pair_address(row, form))
    return render(
        request,
        "repairs/comebacks/table.html",
        {
            "form": form,
            "record": record,
            "forest": _picture(record, record.rows),
            "table": RequestConfig(request).configure(pairs),
        },
    )


def pair(request, fault, fix):
    """One fault and fix: its figures, its rivals, and the repairs behind them."""
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    shop = _shop(request)
    form = _ask(request, shop)
    context = {"form": form, "fault": fault, "fix": fix}
    if form.is_valid():
        record = comeback_record(**form.cleaned_data, shop=shop)
        beside = FaultRecord(record, fault_id=fault.pk)
        behind = BehindTable(repairs_behind(fault, fix, **form.cleaned_data))
        context |= {
            "record": record,
            "row": record.row_of(fault_id=fault.pk, fix_id=fix.pk),
            "beside": beside,
            "fixes": fixes_beside(fault, beside),
            "forest": _picture(record, beside.rows),
            "table": RequestConfig(request).configure(behind),
        }
    return render(request, "repairs/comebacks/pair.html", context)


@vary_on_headers("HX-Request")
def fault_record(request, pk):
    """What the shop knows of a fault: its fixes side by side. A fragment for htmx."""
    shop = _shop(request)
    fault = get_object_or_404(Fault, pk=pk)
    record = comeback_record(
        as_of=timezone.localdate(), within=shop.watch_days, shop=shop
    )
    beside = FaultRecord(record, fault_id=fault.pk)
    name = "_fault_record" if request.htmx else "fault_record"
    return render(
        request,
        f"repairs/comebacks/{name}.html",
        {
            "fault": fault,
            "record": record,
            "beside": beside,
            "fixes": fixes_beside(fault, beside),
        },
    )


def _shop(request):
    """The shop, asked for once: the page's frame takes it from the request."""
    request.shop = Shop.current()
    return request.shop


def _ask(request, shop):
    return AskForm(request.GET, today=timezone.localdate(), within=shop.watch_days)


def _picture(record, rows):
    return forest(rows[:IN_PICTURE], limit=record.table.limit)


def _pair_address(row, form):
    address = reverse("comebacks:pair", args=[row.pair.fault_id, row.pair.fix_id])
    return f"{address}?{urlencode(form.cleaned_data)}"
