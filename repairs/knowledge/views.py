"""Pages about a fault and its fixes: one pair, or all fixes compared."""

from django.contrib import messages
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST
from django.views.decorators.vary import vary_on_headers
from django_tables2 import RequestConfig

from repairs.comebacks import actions, drilldown
from repairs.comebacks.forms import FixTypeForm
from repairs.comebacks.queries import fixed_by
from repairs.comebacks.record import comeback_report
from repairs.comebacks.risk_chart import forest_plot
from repairs.comebacks.scope import Scope
from repairs.comebacks.standing import standing, verdicts_of
from repairs.comebacks.tables import OutcomeTable
from repairs.comebacks.views import scope_form
from repairs.faults.models import Fault, Fix
from repairs.jobs.models import Repair
from repairs.knowledge.fix_comparison import FixComparison
from repairs.knowledge.forms import RecordedForm, RepairForm, StandingForm
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp

MAX_FIXES = 50
"""Fixes that use one part, shown at once."""


def pair(request, fault, fix):
    """Show a fault and a fix: its figures, the other fixes, and its repairs."""
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    form = scope_form(request)
    context = {"form": form, "fault": fault, "fix": fix}
    if form.is_valid():
        scope = form.scope
        report = comeback_report(scope, shop=request.shop)
        comparison = FixComparison(report, fault=fault)
        row = report.row_of(fault.pk, fix.pk)
        outcomes = drilldown.outcomes(
            fixed_by(scope.as_of, only=Q(fault=fault, fix=fix) & scope.repairs),
            as_of=scope.as_of,
            within=scope.within,
        )
        context |= {
            "report": report,
            "row": row,
            "comparison": comparison,
            "options": comparison.options(shop=request.shop),
            "forest": forest_plot(comparison.rows, limit=report.table.limit),
            "curves": comparison.curves(focus=fix.pk) if row else None,
            "table": RequestConfig(request).configure(OutcomeTable(outcomes)),
        }
    return render(request, "repairs/knowledge/pair.html", context)


@require_POST
def set_fix_type(request, fault, fix):
    """Change the type of a fix in the fault book."""
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    form = FixTypeForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Select lasting or stopgap.")
        return redirect("knowledge:pair", fault.pk, fix.pk)
    row = _report_today(request).row_of(fault.pk, fix.pk)
    record = f"{row.comebacks} of {row.repairs} repairs" if row else "no repairs yet"
    done = attempt(
        request,
        None,
        actions.set_fix_type,
        fix,
        fix_type=form.cleaned_data["fix_type"],
        reason=f"comebacks for {fault.code}: {record}",
        stamp=Stamp.of(request),
    )
    if done:
        label = dict(form.fields["fix_type"].choices)[form.cleaned_data["fix_type"]]
        state = "now has this type" if done.result else "already has this type"
        messages.success(request, f"{label.capitalize()}: {fix.code} {state}.")
    return redirect("knowledge:pair", fault.pk, fix.pk)


@vary_on_headers("HX-Request")
def fault_record(request, pk):
    """Compare the fixes of a fault. A fragment for htmx.

    `?repair=` names the repair of an open job for which a fix is being chosen.
    """
    fault = get_object_or_404(Fault, pk=pk)
    number = RepairForm(request.GET).number
    repairs = Repair.objects.filter(fault=fault, pk=number).select_related("job")
    report = _report_today(request)
    comparison = FixComparison(report, fault=fault)
    name = "_fault_record" if request.htmx else "fault_record"
    context = {
        "fault": fault,
        "report": report,
        "comparison": comparison,
        "options": comparison.options(shop=request.shop),
        "curves": comparison.curves(),
        "repair": repairs.first() if number else None,
    }
    return render(request, f"repairs/knowledge/{name}.html", context)


@vary_on_headers("HX-Request")
def verdict(request, fault, fix):
    """Return what is known of one fix of one fault, in a line. A fragment for htmx."""
    if not request.htmx:
        return redirect("knowledge:fault_record", fault)
    fault, fix = get_object_or_404(Fault, pk=fault), get_object_or_404(Fix, pk=fix)
    verdicts = verdicts_of(timezone.localdate(), shop=request.shop)
    form = RecordedForm(request.GET)
    recorded = form.cleaned_data["recorded"] if form.is_valid() else ""
    context = {"standing": standing(verdicts, fault.pk, fix, recorded=recorded)}
    return render(request, "repairs/comebacks/_standing.html", context)


@vary_on_headers("HX-Request")
def standings(request):
    """The fixes that use a part, or one fix, each with its faults and verdicts.

    A fragment for htmx; `?part=` or `?fix=` names the record.
    """
    if not request.htmx:
        return redirect("faults:book")
    form = StandingForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    verdicts = verdicts_of(timezone.localdate(), shop=request.shop)
    fixes = [
        (fix, [(one, standing(verdicts, one.pk, fix)) for one in fix.faults.all()])
        for fix in _fixes_asked(**asked)
    ]
    return render(request, "repairs/knowledge/_standings.html", {"fixes": fixes})


def _fixes_asked(*, part=None, fix=None):
    fixes = Fix.objects.prefetch_related("faults").order_by("is_retired", "code")
    if part:
        return fixes.filter(usual_parts__part=part)[:MAX_FIXES]
    return fixes.filter(pk=fix) if fix else ()


def _report_today(request):
    scope = Scope(as_of=timezone.localdate(), within=request.shop.comeback_period_days)
    return comeback_report(scope, shop=request.shop)
