"""The till at the end of a day: counted, closed, printed."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from billing.day_close import actions
from billing.day_close.forms import CloseForm
from billing.day_close.models import DayClose
from billing.day_close.papers import day_slip
from billing.day_close.queries import (
    HEADS,
    as_rows,
    open_till,
    payments_of,
    takings,
)
from billing.day_close.tables import DayTable
from billing.day_close.tally import as_csv, in_all
from billing.invoices.payments.views import with_receipts
from billing.invoices.refusals import Refused
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.currencies import Currency
from shopdesk.shop.models import Shop

REFUSALS = (Refused, PaperFailed)


def days(request):
    """What is in the till since it was last counted, and the days that are closed."""
    shop, on = Shop.current(), timezone.localdate()
    till = open_till(day=on, shop=shop)
    written_in = Currency(till.currency, shop.locale)
    form = CloseForm(
        request.POST if request.method == "POST" else None,
        written_in=written_in,
        has_opening=till.opening is not None,
        initial={"day": on},
    )
    if form.is_valid():
        try:
            close = actions.close_day(
                on=on, at=timezone.now(), by=request.user, **form.cleaned_data
            )
        except REFUSALS as refusal:
            form.add_error(None, str(refusal))
        else:
            messages.success(request, "The day is closed.")
            return redirect(close)
    table = DayTable(DayClose.objects.defer("paper").select_related("closed_by"))
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/day_close/days.html",
        {
            "till": till,
            "rows": till.rows,
            "total": till.total,
            "expected": (till.opening or 0) + till.cash,
            "is_closed": till.since > on,
            "written_in": written_in,
            "table": table,
            "form": form,
        },
    )


def _close(pk):
    found = DayClose.objects.select_related("closed_by")
    return get_object_or_404(found.defer("paper"), pk=pk)


@require_GET
def day(request, pk):
    """One closed day, with all money that counts on it."""
    close = _close(pk)
    rows = takings(close.since, close.day, currency=close.currency)
    return render(
        request,
        "billing/day_close/day.html",
        {
            "close": close,
            "rows": rows,
            "total": in_all(rows),
            "payments": with_receipts(
                payments_of(close.since, close.day).select_related("job")
            ).order_by("id"),
            "written_in": Currency(close.currency, Shop.current().locale),
        },
    )


@require_GET
def paper(request, pk):
    """The slip as it was kept."""
    close = get_object_or_404(DayClose, pk=pk)
    return _file(bytes(close.paper), f"till-{close.day}.pdf", "application/pdf")


@require_GET
def slip(request, pk):
    """The slip for a roll."""
    close = _close(pk)
    try:
        pdf = day_slip(close, shop=Shop.current())
    except PaperFailed as failed:
        messages.error(request, str(failed))
        return redirect(close)
    return _file(pdf, f"till-{close.day}-roll.pdf", "application/pdf")


@require_GET
def csv(request, pk):
    """The money of the day as a file for a sheet."""
    close = _close(pk)
    places = Currency(close.currency, "").places
    rows = as_rows(payments_of(close.since, close.day), places=places)
    name = f"till-{close.day}.csv"
    return _file(as_csv(HEADS, rows), name, "text/csv; charset=utf-8", "attachment")


def _file(content, name, kind, how="inline"):
    headers = {"Content-Disposition": f'{how}; filename="{name}"'}
    return HttpResponse(content, content_type=kind, headers=headers)
