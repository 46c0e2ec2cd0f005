"""The till at the end of a day: counted, closed, printed."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from billing.day_close import queries
from billing.day_close.actions import close_day
from billing.day_close.forms import DayCloseForm
from billing.day_close.papers import day_slip
from billing.day_close.tables import DayTable
from billing.invoices.models import DayClose
from shopdesk.look.downloads import download, pdf_response
from shopdesk.look.forms import attempt
from shopdesk.shop.currencies import Currency
from shopdesk.spreadsheet import csv_text
from shopdesk.stamp import Stamp


def days(request):
    """What is in the till since it was last counted, and the days that are closed."""
    shop, on = request.shop, timezone.localdate()
    till = queries.open_till(day=on, shop=shop)
    written_in = Currency(till.currency, shop.locale)
    form = DayCloseForm(
        request.POST or None,
        written_in=written_in,
        has_opening=till.opening is not None,
        initial={"day": on},
    )
    if form.is_valid():
        stamp = Stamp.of(request)
        done = attempt(request, form, close_day, stamp=stamp, **form.cleaned_data)
        if done:
            messages.success(request, "Till closed.")
            return redirect(done.result)
    table = DayTable(DayClose.objects.defer("pdf").select_related("closed_by"))
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/day_close/days.html",
        {
            "till": till,
            "rows": till.rows,
            "total": till.total,
            "is_closed": till.since > on,
            "written_in": written_in,
            "table": table,
            "form": form,
        },
    )


def _close(pk):
    found = DayClose.objects.select_related("closed_by")
    return get_object_or_404(found.defer("pdf"), pk=pk)


@require_GET
def day(request, pk):
    """One closed day, with all money that counts on it."""
    close = _close(pk)
    rows = queries.takings(close.since, close.day, currency=close.currency)
    payments = queries.payments_of(close.since, close.day).select_related("job")
    return render(
        request,
        "billing/day_close/day.html",
        {
            "close": close,
            "rows": rows,
            "total": queries.grand_total(rows),
            "payments": payments.for_list().order_by("id"),
            "written_in": Currency(close.currency, request.shop.locale),
        },
    )


@require_GET
def paper(request, pk):
    """The report as it was stored."""
    close = get_object_or_404(DayClose, pk=pk)
    return pdf_response(close.pdf, name=f"till-{close.day}")


@require_GET
def slip(request, pk):
    """The report for the receipt printer."""
    close = _close(pk)
    done = attempt(request, None, day_slip, close, shop=request.shop)
    if not done:
        return redirect(close)
    return pdf_response(done.result, name=f"till-{close.day}-roll")


@require_GET
def csv(request, pk):
    """The money of the day as a file for a spreadsheet."""
    close = _close(pk)
    places = Currency(close.currency, "").places
    payments = queries.payments_of(close.since, close.day)
    content = csv_text(queries.HEADS, queries.as_rows(payments, places=places))
    return download(content, name=f"till-{close.day}.csv")
