"""The suppliers: contact, parts, deliveries and open orders of each."""

from django.db.models import Q
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django_tables2 import RequestConfig

from repairs.stock.forms import SupplierForm
from repairs.stock.models import Part, Supplier
from repairs.stock.order_views import MAX_ORDERS
from repairs.stock.tables import (
    SupplierDeliveryTable,
    SupplierPartTable,
    SupplierTable,
)
from shopdesk.look.forms import edit_page
from shopdesk.look.lists import list_page


def suppliers(request):
    table = SupplierTable(Supplier.objects.for_list())
    return list_page(request, "shopdesk/look/list.html", table)


def supplier(request, pk):
    entry = get_object_or_404(Supplier, pk=pk)
    parts = Part.objects.filter(
        Q(supplier=entry) | Q(supplier=None, deliveries__supplier=entry)
    )
    configure = RequestConfig(request).configure
    deliveries = entry.deliveries.for_list().order_by("-received_on", "-id")
    facts = {
        "supplier": entry,
        "parts": configure(SupplierPartTable(parts.distinct())),
        "deliveries": configure(SupplierDeliveryTable(deliveries)),
        "orders": entry.orders.open().for_list()[:MAX_ORDERS],
        "today": timezone.localdate(),
    }
    return render(request, "repairs/stock/supplier.html", facts)


def change_supplier(request, pk):
    entry = get_object_or_404(Supplier, pk=pk)
    form = SupplierForm(request.POST or None, instance=entry)
    return edit_page(request, form, title=f"Change {entry}")
