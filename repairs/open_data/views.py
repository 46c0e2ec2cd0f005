"""The page from which an owner shares repairs as open data."""

from collections import Counter

from django.shortcuts import render
from django.views.decorators.http import require_GET

from repairs.customers.models import DeviceModel
from repairs.open_data import ords
from repairs.open_data.forms import SharedPeriodForm
from repairs.open_data.queries import finished_jobs, records
from shopdesk.look.lists import FILE, send_rows


@require_GET
def export(request):
    """Show what would be shared, or send it as a CSV file."""
    form = SharedPeriodForm(request.GET)
    jobs = None
    if form.is_valid():
        jobs = finished_jobs(**form.cleaned_data)
        if request.GET.get(FILE) == "csv":
            rows = records(jobs, shop=request.shop)
            return send_rows("open-repair-data.csv", ords.COLUMNS, rows)
    facts = {
        "form": form,
        "count": jobs.count() if jobs is not None else 0,
        "example": _example(jobs, request.shop) if jobs is not None else [],
        "categories": _categories(),
    }
    return render(request, "repairs/open_data/export.html", facts)


def _example(jobs, shop):
    """Return the fields of the latest job with their values, if there is one."""
    latest = jobs.order_by("-pk").values_list("pk", flat=True)[:1]
    for record in records(jobs.filter(pk__in=list(latest)), shop=shop):
        return list(zip(ords.COLUMNS, record, strict=True))
    return []


def _categories():
    """Return the shop's kinds of device with the category of each."""
    kinds = Counter(DeviceModel.objects.order_by().values_list("kind", flat=True))
    return [(kind, ords.CATEGORIES[ords.category_of(kind)]) for kind in sorted(kinds)]
