"""The comeback report, its files, and the repairs and comebacks behind its figures."""

from django.http import Http404
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django_tables2 import RequestConfig

from repairs.comebacks import drilldown
from repairs.comebacks.comeback_table import HEADINGS
from repairs.comebacks.drilldown import COMEBACK, IN_FOLLOW_UP
from repairs.comebacks.forms import DrilldownForm, ScopeForm
from repairs.comebacks.output import FILE_FORMATS
from repairs.comebacks.record import comeback_report
from repairs.comebacks.risk_chart import forest_plot
from repairs.comebacks.tables import ComebackCostTable, PairOutcomeTable, PairTable
from shopdesk.look.downloads import download as as_download
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event

MAX_LINES = 40  # of the forest plot


def table(request):
    """The comeback report."""
    form = scope_form(request)
    if not form.is_valid():
        return invalid_scope(request, form)
    report = comeback_report(form.scope, shop=request.shop)
    pairs = PairTable(report.rows, url_of=lambda row: pair_url(row, form.scope))
    context = {
        "form": form,
        "report": report,
        "headings": HEADINGS,
        "forest": forest_plot(report.rows[:MAX_LINES], limit=report.table.limit),
        "table": RequestConfig(request).configure(pairs),
    }
    return render(request, "repairs/comebacks/table.html", context)


def download(request, format):
    """The table as a file for a spreadsheet or a program."""
    form = scope_form(request)
    if not form.is_valid():
        return invalid_scope(request, form)
    content = FILE_FORMATS[format](comeback_report(form.scope, shop=request.shop))
    return file_response(content, form.scope, format)


def repairs(request):
    """Show the repairs behind a total of the whole table."""
    form, query = scope_form(request), drilldown_form(request)
    result = query.cleaned_data["result"]
    context = {
        "form": form,
        "params": query.params(),
        "result": result,
        "heading": {COMEBACK: "Comebacks", IN_FOLLOW_UP: "Repairs in follow-up"}.get(
            result, "Repairs"
        ),
        "back": reverse("comebacks:table"),
    }
    if form.is_valid():
        scope = form.scope
        period = {"as_of": scope.as_of, "within": scope.within}
        since = query.cleaned_data["since"]
        counted = drilldown.counted_repairs(
            **period, result=result, since=since, only=scope.repairs
        )
        rows = drilldown.OutcomePages(counted, **period)
        pages = RequestConfig(request, paginate={"per_page": 50})
        context |= {
            "scope": scope,
            "count": len(rows),
            "since": since,
            "table": pages.configure(PairOutcomeTable(rows, orderable=False)),
        }
    return render(request, "repairs/comebacks/repairs.html", context)


def comebacks(request):
    """Show the comebacks handed over in a month with cost, or those in the shop."""
    form, query = scope_form(request), drilldown_form(request)
    is_here = query.cleaned_data["here"]
    context = {"form": form, "params": query.params(), "is_here": is_here}
    if form.is_valid():
        rows = drilldown.comeback_costs(
            as_of=form.scope.as_of,
            is_here=is_here,
            pairs=query.pairs,
            only=form.scope.repairs,
        )
        context |= {
            "scope": form.scope,
            "count": len(rows),
            "cost": sum(row.cost or 0 for row in rows),
            "table": RequestConfig(request).configure(ComebackCostTable(rows)),
        }
    return render(request, "repairs/comebacks/comebacks.html", context)


# --- shared with the pages of the month and of a fault ----------------------------


def scope_form(request, form=ScopeForm):
    """Return the form filled from the address."""
    return form(
        request.GET,
        today=timezone.localdate(),
        within=request.shop.comeback_period_days,
    )


def drilldown_form(request):
    """Return which repairs are selected; no page links to an invalid address."""
    form = DrilldownForm(request.GET)
    if not form.is_valid():
        raise Http404
    return form


def invalid_scope(request, form):
    return render(request, "repairs/comebacks/table.html", {"form": form})


def pair_url(row, scope):
    return f"{reverse('knowledge:pair', args=row.pair)}?{scope.query}"


def file_response(content, scope, ending):
    """Return the file as a download, and record it."""
    name = scope.file_name(ending)
    record_event(Action.DOWNLOADED, file=name)
    return as_download(content, name=name)
