"""The owner's pages for a customer's personal data: export, hold, erase."""

from django.contrib import messages
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET

from billing.personal_data import deadlines, erasing, merging
from billing.personal_data.export import export_customer, file_name
from billing.personal_data.forms import EraseForm, KeepForm, MergeForm
from repairs.customers.models import Customer, Device
from shopdesk.look.forms import saved
from shopdesk.look.merging_pages import merge_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp

MAX_LISTED = 200
"""Customers named on one page."""


def overview(request, pk):
    """What can be done with the data of a customer; keeps it from erasure."""
    customer = get_object_or_404(Customer, pk=pk)
    form = KeepForm(request.POST or None, instance=customer)
    if customer.erased_on is None and saved(request, form):
        return redirect("personal_data:overview", pk)
    facts = {"customer": customer, "form": form, "fates": erasing.preview(customer)}
    return render(request, "billing/personal_data/overview.html", facts)


@require_GET
def due(request):
    """What the next night deletes, by the deadlines in Shop settings."""
    on = timezone.localdate()
    facts = {
        "due": deadlines.due(on=on, shop=request.shop),
        "customers": deadlines.customers_due(on=on, shop=request.shop)[:MAX_LISTED],
        "kept": Customer.objects.filter(keep_until__gte=on)[:MAX_LISTED],
    }
    return render(request, "billing/personal_data/due.html", facts)


@require_GET
def export(request, pk):
    """Return all that the shop holds about a customer as a ZIP file."""
    customer = get_object_or_404(Customer, pk=pk)
    content = export_customer(customer, stamp=Stamp.of(request))
    return FileResponse(content, as_attachment=True, filename=file_name(customer))


def erase(request, pk):
    """Show what is erased and what stays, and erase a customer."""
    customer = get_object_or_404(Customer, pk=pk, erased_on=None)
    form = EraseForm(request.POST or None)
    stamp = Stamp.of(request)
    if form.is_valid() and attempt(
        request, form, erasing.erase_customer, customer, stamp=stamp
    ):
        messages.success(
            request, gettext("Customer {pk} erased.").format(pk=customer.pk)
        )
        return redirect("customers:customer", pk)
    facts = {
        "customer": customer,
        "form": form,
        "fates": erasing.preview(customer),
        "reasons": erasing.reasons_to_keep(customer, on=timezone.localdate()),
    }
    return render(request, "billing/personal_data/erase.html", facts)


def merge_customers(request, pk):
    """Search for another record of the customer, and merge it into this one."""
    return merge_page(
        request,
        get_object_or_404(Customer, pk=pk, erased_on=None),
        form=MergeForm,
        search=lambda query: Customer.objects.containing(query),
        preview=merging.customer_merge,
        action=merging.merge_customers,
        swap="personal_data:merge_customers",
    )


def merge_devices(request, pk):
    """Search for another record of the device, and merge it into this one."""
    devices = Device.objects.select_related("model", "owner")
    return merge_page(
        request,
        get_object_or_404(devices, pk=pk),
        form=MergeForm,
        search=lambda query: (
            devices.search(query)
            | devices.filter(owner__in=Customer.objects.containing(query))
        ),
        preview=merging.device_merge,
        action=merging.merge_devices,
        swap="personal_data:merge_devices",
    )
