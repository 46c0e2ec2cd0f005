"""Which pairs come back, the repairs behind each, and one fault's record for all."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_POST
from django.views.decorators.vary import vary_on_headers
from django_tables2 import RequestConfig

from repairs.comebacks import actions
from repairs.comebacks.asked import Asked
from repairs.comebacks.behind.views import ask
from repairs.comebacks.context import choices, record_of, repairs_asked
from repairs.comebacks.forest import forest
from repairs.comebacks.forms import DeclareForm
from repairs.comebacks.papers import report_pdf
from repairs.comebacks.queries import repairs_behind
from repairs.comebacks.record import FaultRecord
from repairs.comebacks.tables import BehindTable, PairTable
from repairs.comebacks.written import FORMATS
from repairs.faults.models import Fault, Fix
from shopdesk.papers.render import PaperFailed
from shopdesk.shop.models import Shop

IN_PICTURE = 40  # rows; a longer picture is no longer one
TYPES = {
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "pdf": "application/pdf",
}


def table(request):
    """The month's comeback table, what matters first."""
    form = ask(request)
    if not form.is_valid():
        return _asked_wrong(request, form)
    asked = form.asked
    record = record_of(asked, shop=request.shop)
    pairs = PairTable(
        record.rows, address_of=lambda row: _pair_address(row.pair, asked)
    )
    return render(
        request,
        "repairs/comebacks/table.html",
        {
            "form": form,
            "asked": asked,
            "questions": urlencode(asked.in_address),
            "record": record,
            "forest": _picture(record, record.rows),
            "table": RequestConfig(request).configure(pairs),
        },
    )


def download(request, format):
    """The table as a file, for a sheet or a program."""
    form = ask(request)
    if not form.is_valid():
        return _asked_wrong(request, form)
    text = FORMATS[format](record_of(form.asked, shop=request.shop))
    return _file(text, form.asked, format)


def paper(request):
    """The month's report as PDF."""
    form = ask(request)
    if not form.is_valid():
        return _asked_wrong(request, form)
    try:
        pdf = report_pdf(form.asked, shop=request.shop)
    except PaperFailed as failed:
        messages.error(request, str(failed))
        return redirect(_address("comebacks:table", form.asked))
    return _file(pdf, form.asked, "pdf")


def pair(request, fault, fix):
    """One fault and fix: its figures, its rivals, and the repairs behind them."""
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    form = ask(request)
    context = {"form": form, "fault": fault, "fix": fix}
    if form.is_valid():
        asked = form.asked
        record = record_of(asked, shop=request.shop)
        beside = FaultRecord(record, fault_id=fault.pk)
        row = record.row_of(fault_id=fault.pk, fix_id=fix.pk)
        behind = BehindTable(
            repairs_behind(
                fault,
                fix,
                as_of=asked.as_of,
                within=asked.within,
                only=repairs_asked(asked),
            )
        )
        context |= {
            "asked": asked,
            "questions": urlencode(asked.in_address),
            "record": record,
            "row": row,
            "beside": beside,
            "fixes": choices(fault, beside, record=record, shop=request.shop),
            "forest": _picture(record, beside.rows),
            "curves": beside.picture(about=fix.pk) if row else None,
            "table": RequestConfig(request).configure(behind),
        }
    return render(request, "repairs/comebacks/pair.html", context)


@require_POST
def declare(request, fault, fix):
    """The owner has the fault book call a fix a stopgap, or lasting again."""
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    form = DeclareForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Say whether the fix is lasting or a stopgap.")
        return redirect("comebacks:pair", fault.pk, fix.pk)
    row = record_of(_today(shop := _shop(request)), shop=shop).row_of(
        fault_id=fault.pk, fix_id=fix.pk
    )
    told = f"for {fault.code} " + (
        f"{row.returned_said} came back" if row else "it was never done"
    )
    try:
        is_new = actions.declare(
            fix,
            declared=form.cleaned_data["declared"],
            because=told,
            by=request.user,
            on=timezone.localdate(),
        )
    except actions.NoRoom as refusal:
        messages.error(request, str(refusal))
    else:
        said = dict(form.fields["declared"].choices)[form.cleaned_data["declared"]]
        now = "calls it so already" if not is_new else "calls it so from now on"
        messages.success(request, f"{fix.code}: {said}. The fault book {now}.")
    return redirect("comebacks:pair", fault.pk, fix.pk)


@vary_on_headers("HX-Request")
def fault_record(request, pk):
    """What the shop knows of a fault: its fixes side by side. A fragment for htmx."""
    shop = _shop(request)
    fault = get_object_or_404(Fault, pk=pk)
    record = record_of(_today(shop), shop=shop)
    beside = FaultRecord(record, fault_id=fault.pk)
    name = "_fault_record" if request.htmx else "fault_record"
    return render(
        request,
        f"repairs/comebacks/{name}.html",
        {
            "fault": fault,
            "record": record,
            "beside": beside,
            "fixes": choices(fault, beside, record=record, shop=shop),
            "curves": beside.picture(),
        },
    )


@vary_on_headers("HX-Request")
def verdict(request, fault, fix):
    """How one fix of one fault has done, in a line. A fragment for htmx."""
    if not request.htmx:
        return redirect("comebacks:fault_record", fault)
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    shop = _shop(request)
    record = record_of(_today(shop), shop=shop)
    row = record.row_of(fault_id=fault.pk, fix_id=fix.pk)
    return render(
        request,
        "repairs/comebacks/_verdict.html",
        {"fault": fault, "fix": fix, "record": record, "row": row},
    )


def _shop(request):
    """The shop, asked for once: the page's frame takes it from the request."""
    request.shop = Shop.current()
    return request.shop


def _today(shop):
    return Asked(as_of=timezone.localdate(), within=shop.comeback_period_days)


def _asked_wrong(request, form):
    return render(request, "repairs/comebacks/table.html", {"form": form})


def _picture(record, rows):
    return forest(rows[:IN_PICTURE], limit=record.table.limit)


def _address(name, asked, *args):
    return f"{reverse(name, args=args)}?{urlencode(asked.in_address)}"


def _pair_address(pair, asked):
    return _address("comebacks:pair", asked, pair.fault_id, pair.fix_id)


def _file(content, asked, ending):
    return HttpResponse(
        content,
        content_type=TYPES[ending],
        headers={
            "Content-Disposition": f'attachment; filename="{asked.file_name(ending)}"'
        },
    )
