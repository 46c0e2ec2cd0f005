"""The pages of customers and their devices."""

from django.contrib import messages
from django.db.models import Count
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django_tables2 import RequestConfig

from repairs.customers.fields import find_record
from repairs.customers.filters import CustomerFilter
from repairs.customers.forms import (
    ChangeCustomerForm,
    ChangeDeviceForm,
    ModelFamilyForm,
    NewOwnerForm,
)
from repairs.customers.models import Customer, Device, DeviceModel
from repairs.customers.phone_country import conversions, convert
from repairs.customers.tables import (
    CustomerTable,
    DeviceModelTable,
    DeviceTable,
    JobTable,
)
from shopdesk.look.forms import edit_page
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.shop import currencies
from shopdesk.staff.permissions import can_open

MAX_NUMBERS = 200
"""Phone numbers shown at once."""
MAX_OWNERS = 30
"""Possible new owners offered at once."""


def all_customers(request):
    """All customers, filtered by a query."""
    customers = Customer.objects.filter(erased_on=None).for_list()
    filter_ = CustomerFilter(request.GET, queryset=customers)
    customers = filter_.qs if filter_.form.is_valid() else customers.none()
    table = CustomerTable(customers)
    return list_page(request, "repairs/customers/all.html", table, form=filter_.form)


def customer(request, pk):
    """One customer: contact, devices, jobs."""
    record = get_object_or_404(Customer, pk=pk)
    configure = RequestConfig(request).configure
    facts = {
        "customer": record,
        "devices": configure(DeviceTable(record.devices.for_list())),
        "jobs": configure(JobTable(record.jobs.for_list())),
        "sees_personal_data": can_open(request.user, "personal_data:overview"),
    }
    return render(request, "repairs/customers/customer.html", facts)


def change(request, pk):
    record = get_object_or_404(Customer, pk=pk, erased_on=None)
    form = ChangeCustomerForm(
        request.POST or None,
        instance=record,
        shop=request.shop,
        tax_rules=request.shop.tax_rules(timezone.localdate()),
    )
    return edit_page(request, form, title=f"Change {record}")


def phones(request):
    """Show the numbers that the former country may have given a wrong code."""
    shop, former = request.shop, request.GET.get("from", "")
    names = currencies.countries()
    if former not in names:
        raise Http404
    chosen = {
        int(pk)
        for pk in request.POST.getlist("chosen")
        if pk.isascii() and pk.isdigit() and len(pk) < 19
    }
    if request.method == "POST" and not chosen:
        messages.error(request, "Tick the numbers to convert.")
    elif request.method == "POST":
        done = attempt(request, None, convert, chosen, former=former, shop=shop)
        if done:
            messages.success(request, f"Phone numbers converted: {done.result}.")
            return redirect(f"{reverse('customers:phones')}?from={former}")
    found = conversions(former, shop=shop)
    facts = {
        "former": names[former],
        "current": names.get(shop.country, shop.country),
        "shown": found[:MAX_NUMBERS],
        "hidden": len(found[MAX_NUMBERS:]),
        "chosen": chosen,
    }
    return render(request, "repairs/customers/phones.html", facts)


def device(request, pk):
    """One device: its visits, faults, fixes and warranties."""
    record = _device(pk)
    visits = record.jobs.visits(on=timezone.localdate())
    facts = {"device": record, "visits": visits}
    facts["can_merge"] = can_open(request.user, "personal_data:merge_devices")
    facts["is_in_shop"] = any(visit.is_open for visit in visits)
    return render(request, "repairs/customers/device.html", facts)


def change_device(request, pk):
    """Correct a misread serial or board revision, or end the use of the device."""
    record = _device(pk)
    form = ChangeDeviceForm(request.POST or None, instance=record)
    return edit_page(request, form, title=f"Change {record.model}")


def models(request):
    """All device models, each with its family."""
    found = DeviceModel.objects.annotate(device_count=Count("devices"))
    table = DeviceModelTable(found.order_by("kind", "maker", "model"))
    return list_page(request, "repairs/customers/models.html", table)


def change_model(request, pk):
    """Put a model into a family: the bench then learns from all its models."""
    record = get_object_or_404(DeviceModel, pk=pk)
    return edit_page(
        request,
        ModelFamilyForm(request.POST or None, instance=record),
        title=f"Family of {record}",
        cancel=reverse("customers:models"),
        after="customers:models",
        template="repairs/customers/change_model.html",
        families=DeviceModel.objects.filter(kind=record.kind).families(),
    )


def new_owner(request, pk):
    """Search for the new owner of a device; its history stays with it."""
    record = _device(pk)
    if request.method == "POST":
        customers = Customer.objects.filter(erased_on=None)
        before, owner = record.owner, find_record(customers, request.POST.get("owner"))
        if owner is None:
            messages.error(request, "Customer not found. Search again.")
        else:
            if attempt(request, None, record.transfer_to, owner).result:
                messages.success(request, f"Owner changed from {before} to {owner}.")
            return redirect(record)
    form = NewOwnerForm(request.GET or None)
    customers = []
    if form.is_valid():
        matches = Customer.objects.containing(form.cleaned_data["query"])
        customers = matches.exclude(pk=record.owner_id).for_list()[:MAX_OWNERS]
    facts = {"device": record, "form": form, "customers": customers}
    return render(request, "repairs/customers/new_owner.html", facts)


def _device(pk):
    return get_object_or_404(Device.objects.select_related("model", "owner"), pk=pk)
