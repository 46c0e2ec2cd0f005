"""The list of what is to be ordered, its files, and the orders under way."""

from django.contrib import messages
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from repairs.stock import ordering
from repairs.stock.forms import SupplierOrderForm, WantedForm
from repairs.stock.models import Part, PartOrder
from repairs.stock.queries import current_costs
from repairs.stock.views import part_page
from shopdesk.look.downloads import download, pdf_response
from shopdesk.papers.render import SCREENS, render_pdf
from shopdesk.sent_forms.attempts import attempt
from shopdesk.spreadsheet import csv_text
from shopdesk.staff.permissions import can_see_costs
from shopdesk.stamp import Stamp

MAX_ORDERS = 500
CSV_COLUMNS = ("supplier", "part", "name", "value", "maker_number", "supplier_number")
CSV_COLUMNS += ("quantity", "in_stock", "reserved", "on_order", "reorder_level")


def _forms(lines_of, sent=None):
    """A form for each supplier; `sent` is the one that was refused."""
    forms = [
        SupplierOrderForm(supplier=name, lines=lines, position=position)
        for position, (name, lines) in enumerate(lines_of.items())
    ]
    if sent is None:
        return forms
    return [sent if one.supplier == sent.supplier else one for one in forms] + [
        sent for _ in range(sent.supplier not in lines_of)
    ]


def to_order(request):
    """What is at its reorder level or missing for a job, by supplier."""
    if request.method != "POST":
        return _page(request)
    lines_of = ordering.to_order(on=timezone.localdate())
    name = request.POST.get("supplier", "")
    form = SupplierOrderForm(
        request.POST, supplier=name, lines=lines_of.get(name, ()), position=0
    )
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), "supplier": name, **form.cleaned_data}
        if done := attempt(request, form, ordering.order, **facts):
            count = f"{done.result} part{'' if done.result == 1 else 's'}"
            messages.success(request, f"{count} marked as ordered.")
            return redirect("stock:to_order")
    return _page(request, lines_of, sent=form)


def _page(request, lines_of=None, *, sent=None):
    if lines_of is None:
        lines_of = ordering.to_order(on=timezone.localdate())
    orders = PartOrder.objects.open().for_list()[:MAX_ORDERS]
    parts = [line.part for lines in lines_of.values() for line in lines]
    if can_see_costs(request.user, request.shop):
        costs = current_costs(parts)
        for part in parts:
            part.last_cost = costs.get(part.pk)
    return render(
        request,
        "repairs/stock/to_order.html",
        {
            "forms": _forms(lines_of, sent),
            "orders": orders,
            "today": timezone.localdate(),
        },
    )


@require_POST
def put_on_order_list(request, pk):
    """Put so many of a part on the order list of its supplier."""
    part = get_object_or_404(Part, pk=pk)
    form = WantedForm(request.POST)
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), **form.cleaned_data}
        if attempt(request, form, ordering.put_on_order_list, part, **facts):
            quantity = form.cleaned_data["quantity"]
            text = f"{quantity} on the order list" if quantity else "off the order list"
            messages.success(request, f"{part.number}: {text}.")
            return redirect(part)
    return part_page(request, part, {"wanted": form})


@require_POST
def cancel_order(request, pk):
    placed = get_object_or_404(PartOrder.objects.select_related("part"), pk=pk)
    if attempt(request, None, ordering.cancel_order, placed, stamp=Stamp.of(request)):
        messages.success(request, f"Order of {placed.part.number} cancelled.")
    return redirect("stock:to_order")


def order_file(request, format):
    """The list as a file; with `supplier`, what is to be ordered there."""
    on = timezone.localdate()
    lines_of = ordering.to_order(on=on)
    if (name := request.GET.get("supplier")) is not None:
        lines_of = {key: lines for key, lines in lines_of.items() if key == name}
    if format == "csv":
        rows = [
            _csv_row(name, line) for name, lines in lines_of.items() for line in lines
        ]
        return download(csv_text(CSV_COLUMNS, rows), name=f"order-list-{on}.csv")
    if format != "pdf":
        raise Http404
    facts = {"lines_of": lines_of.items(), "on": on}
    made = attempt(
        request,
        None,
        render_pdf,
        "repairs/stock/order_list.html",
        facts,
        size=request.shop.paper,
        made_at=timezone.now(),
        language=SCREENS,
    )
    if not made:
        return redirect("stock:to_order")
    return pdf_response(made.result, name=f"order-list-{on}")


def _csv_row(supplier, line):
    part = line.part
    return (
        *(supplier, part.number, part.name, part.value),
        *(part.maker_number, part.supplier_number, line.need.quantity),
        *(part.on_hand, part.reserved, part.on_order, line.need.level),
    )
