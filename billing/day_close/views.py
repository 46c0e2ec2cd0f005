"""The end of the day: count the till, close the day, print the report; the accounts."""

from datetime import timedelta

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from billing.day_close import queries
from billing.day_close.accounts import accounts_of
from billing.day_close.actions import Count, close_day
from billing.day_close.forms import AccountsForm, CashCountForm, DayCloseForm
from billing.day_close.papers import day_paper
from billing.day_close.tables import DayCloseTable
from billing.invoices.models import DayClose
from shopdesk.look.downloads import download, pdf_response
from shopdesk.look.lists import FILE
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.sent_forms.attempts import attempt
from shopdesk.spreadsheet import csv_text, sheets
from shopdesk.stamp import Stamp


def days(request):
    """Show what is in the till since the last count, and the closed days."""
    shop, on = request.shop, timezone.localdate()
    tills = queries.open_tills(day=on, shop=shop)
    counts = [_count_form(request, till, shop=shop, on=on) for till in tills]
    form, *others = counts
    if all([one.is_valid() for one in counts]):
        counted = {one.prefix: Count(**one.cleaned_data) for one in others}
        facts = {"stamp": Stamp.of(request), "others": counted, **form.cleaned_data}
        done = attempt(request, form, close_day, **facts)
        if done:
            messages.success(request, gettext("Till closed."))
            return redirect("day_close:days" if others else done.result)
    table = DayCloseTable(DayClose.objects.defer("pdf").select_related("closed_by"))
    RequestConfig(request).configure(table)
    return render(
        request,
        "billing/day_close/days.html",
        {
            "till": tills[0].close,
            "tills": [
                (till, one, till.close.written_in(shop))
                for till, one in zip(tills, counts, strict=True)
            ],
            "is_closed": tills[0].close.since > on,
            "table": table,
            "form": form,
            "forms": others,
        },
    )


def _count_form(request, till, *, shop, on):
    """Return the form of one currency; that of the shop's own has the day, too."""
    facts = {
        "written_in": till.close.written_in(shop),
        "has_opening": till.close.opening is not None,
    }
    if till.close.currency == shop.currency:
        return DayCloseForm(request.POST or None, initial={"day": on}, **facts)
    return CashCountForm(request.POST or None, prefix=till.close.currency, **facts)


def _close(pk):
    found = DayClose.objects.select_related("closed_by")
    return get_object_or_404(found.defer("pdf"), pk=pk)


@require_GET
def day(request, pk):
    """Show one closed day with all its payments."""
    close = _close(pk)
    rows = queries.takings(close.since, close.day, currency=close.currency)
    return render(
        request,
        "billing/day_close/day.html",
        {
            "close": close,
            "rows": rows,
            "total": queries.grand_total(rows),
            "payments": queries.payments_in(close),
            "written_in": close.written_in(request.shop),
        },
    )


@require_GET
def paper(request, pk):
    """Return the report as it was stored."""
    close = get_object_or_404(DayClose, pk=pk)
    return pdf_response(close.pdf, name=close.file_name)


@require_GET
def slip(request, pk):
    """Return the report for the receipt printer."""
    close = _close(pk)
    done = attempt(request, None, day_paper, close, shop=request.shop, is_slip=True)
    if not done:
        return redirect(close)
    return pdf_response(done.result, name=f"{close.file_name}-roll")


@require_GET
def csv(request, pk):
    """Return the payments of the day in one currency as a CSV file."""
    close = _close(pk)
    rows = queries.rows_of(queries.payments_in(close))
    with translation.override(None):  # files are in English
        text = csv_text(queries.HEADS, rows)
    name = f"{close.file_name}.csv"
    record_event(Action.DOWNLOADED, file=name)
    return download(text, name=name)


@require_GET
def accounts(request):
    """Show the accounts of a period, or send them as a workbook."""
    today = timezone.localdate()
    month_end = today.replace(day=1) - timedelta(days=1)
    usual = {"since": month_end.replace(day=1), "until": month_end}
    form = AccountsForm(request.GET if "since" in request.GET else None, initial=usual)
    if form.is_valid():
        usual = {name: form.cleaned_data[name] for name in usual}
    found = accounts_of(**usual)
    if FILE in request.GET and not form.errors:
        name = f"accounts-{usual['since']}-{usual['until']}.xlsx"
        record_event(Action.DOWNLOADED, file=name)
        with translation.override(None):  # files are in English
            found = accounts_of(**usual)
        return download(sheets(found.sheets()), name=name)
    facts = {"form": form, "accounts": found, "file": FILE, **usual}
    return render(request, "billing/day_close/accounts.html", facts)
