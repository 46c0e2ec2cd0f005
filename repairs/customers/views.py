"""The pages of customers and their devices."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django_tables2 import RequestConfig

from repairs.customers.filters import CustomerFilter
from repairs.customers.forms import ChangeCustomerForm, ChangeDeviceForm, NewOwnerForm
from repairs.customers.models import Customer, Device
from repairs.customers.tables import CustomerTable, DeviceTable, JobTable
from shopdesk.shop.models import Shop, TaxRate

EDIT = "shopdesk/look/edit.html"
MAX_OWNERS = 30
"""Possible new owners offered at once."""


def all_customers(request):
    """All customers, filtered by words."""
    everybody = Customer.objects.filter(erased_on=None).with_last_visit()
    narrowed = CustomerFilter(request.GET, queryset=everybody)
    found = narrowed.qs if narrowed.form.is_valid() else everybody.none()
    table = RequestConfig(request).configure(CustomerTable(found))
    facts = {"table": table, "form": narrowed.form}
    return render(request, "repairs/customers/all.html", facts)


def customer(request, pk):
    """One customer: contact, devices, jobs."""
    who = get_object_or_404(Customer, pk=pk)
    ask = RequestConfig(request)
    return render(
        request,
        "repairs/customers/customer.html",
        {
            "who": who,
            "devices": ask.configure(DeviceTable(who.devices.for_list())),
            "jobs": ask.configure(JobTable(who.jobs.for_list())),
        },
    )


def change(request, pk):
    who = get_object_or_404(Customer, pk=pk, erased_on=None)
    name = str(who)  # as stored: the form changes `who`
    held = TaxRate.objects.holding(timezone.localdate())
    facts = {"instance": who, "held": held, "shop": Shop.current()}
    form = ChangeCustomerForm(request.POST or None, **facts)
    if form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect(who)
    facts = {"title": f"Change {name}", "form": form, "cancel": who.get_absolute_url()}
    return render(request, EDIT, facts)


def device(request, pk):
    """One device: its visits, faults, fixes and warranties."""
    one = _device(pk)
    visits = one.jobs.visits(on=timezone.localdate())
    facts = {"device": one, "visits": visits}
    facts["is_here"] = any(visit.is_open for visit in visits)
    return render(request, "repairs/customers/device.html", facts)


def change_device(request, pk):
    """Correct what was misread."""
    entry = _device(pk)
    form = ChangeDeviceForm(request.POST or None, instance=entry)
    if form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect(form.instance)
    facts = {"title": f"Change {entry.model}", "form": form}
    facts["cancel"] = entry.get_absolute_url()
    return render(request, EDIT, facts)


def new_owner(request, pk):
    """Search for the new owner of a device; its history stays with it."""
    one = _device(pk)
    if request.method == "POST":
        to = request.POST.get("owner", "")
        to = int(to) if to.isascii() and to.isdigit() and len(to) < 19 else None
        owner = Customer.objects.filter(pk=to, erased_on=None).first()
        if owner is None:
            messages.error(request, "Customer not found. Search again.")
        else:
            before = one.owner
            if one.transfer_to(owner):
                messages.success(request, f"Owner changed from {before} to {owner}.")
            return redirect(one)
    form = NewOwnerForm(request.GET or None)
    found = []
    if form.is_valid():
        people = Customer.objects.called(form.cleaned_data["who"])
        found = people.exclude(pk=one.owner_id).with_last_visit()[:MAX_OWNERS]
    facts = {"device": one, "form": form, "found": found}
    return render(request, "repairs/customers/new_owner.html", facts)


def _device(pk):
    return get_object_or_404(Device.objects.select_related("model", "owner"), pk=pk)
