"""The monthly report, deliveries and models, and the repairs behind its figures."""

from datetime import date, timedelta

from django.db.models import Q
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.vary import vary_on_headers
from django_tables2 import RequestConfig

from repairs.comebacks import drilldown
from repairs.comebacks.forms import BoardForm, PeriodForm
from repairs.comebacks.record import comeback_report
from repairs.comebacks.scope import Scope
from repairs.comebacks.tables import PairOutcomeTable
from repairs.comebacks.views import (
    drilldown_form,
    file_response,
    invalid_scope,
    scope_form,
)
from repairs.customers.models import DeviceModel
from repairs.jobs.models import PartUsed
from repairs.month.forms import WarningForm
from repairs.month.groups import BOARD, DELIVERY, MODEL
from repairs.month.papers import render_report_pdf
from repairs.month.report import groups, month_report
from repairs.month.suspects import suspects_of
from repairs.month.tables import BoardTable, DeliveryTable, ModelTable
from repairs.month.top_advice import first_advice
from repairs.stock.models import Delivery, Supplier
from shopdesk.sent_forms.attempts import attempt

MAX_LOTS = 10
TABLES = {DELIVERY: DeliveryTable, MODEL: ModelTable, BOARD: BoardTable}


def month(request):
    """Show the monthly report."""
    form = scope_form(request)
    context = {"form": form}
    if form.is_valid():
        context["month"] = month_report(form.scope, shop=request.shop)
        context["report"] = comeback_report(form.scope, shop=request.shop)
        context["first"] = first_advice(
            context["report"], context["month"], shop=request.shop
        )
    return render(request, "repairs/month/month.html", context)


def document(request):
    """Return the monthly report and the comeback table as PDF."""
    form = scope_form(request)
    if not form.is_valid():
        return invalid_scope(request, form)
    drawn = attempt(request, None, render_report_pdf, form.scope, shop=request.shop)
    if not drawn:
        return redirect(f"{reverse('comebacks:table')}?{form.scope.query}")
    return file_response(drawn.result, form.scope, "pdf")


def deliveries(request):
    """List deliveries, models and board revisions, most important first."""
    form = scope_form(request, PeriodForm)
    context = {"form": form}
    if form.is_valid():
        rows = groups(form.scope, shop=request.shop)
        configured = RequestConfig(request)
        context["scope"] = form.scope
        context["bad"] = sum(row.is_bad for row in rows)
        context["tables"] = [
            configured.configure(
                table(
                    [row for row in rows if row.kind == kind],
                    scope=form.scope,
                )
            )
            for kind, table in TABLES.items()
        ]
    return render(request, "repairs/month/deliveries.html", context)


@vary_on_headers("HX-Request")
def warnings(request):
    """The suspect deliveries, models and boards that matter where one works.

    A fragment for htmx; `?part=`, `?job=`, `?fault=`, `?device=` or `?model=` with
    `?revision=` names the record.
    """
    if not request.htmx:
        return redirect("month:deliveries")
    form = WarningForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    facts = {"warnings": suspects_of(shop=request.shop, **asked)}
    return render(request, "repairs/month/_warnings.html", facts)


@vary_on_headers("HX-Request")
def lots(request, pk):
    """The deliveries of a supplier of which repairs came back. A fragment for htmx."""
    supplier = get_object_or_404(Supplier, pk=pk)
    if not request.htmx:
        return redirect("month:deliveries")
    scope = Scope(as_of=timezone.localdate(), within=request.shop.comeback_period_days)
    mine = set(supplier.deliveries.values_list("pk", flat=True))
    rows = groups(scope, shop=request.shop)
    rows = [row for row in rows if row.kind == DELIVERY and row.key in mine]
    back = [row for row in rows if row.comebacks][:MAX_LOTS]
    facts = {"rows": back, "more": len(rows) - len(back)}
    return render(request, "repairs/month/_lots.html", facts)


def handed_over(request, year, number):
    """Show the repairs handed over in one month."""
    if not (1990 <= year <= 9000 and 1 <= number <= 12):
        raise Http404
    first = date(year, number, 1)
    following = (first + timedelta(days=31)).replace(day=1)
    of_month = Q(job__handed_over_on__gte=first, job__handed_over_on__lt=following)
    return _repairs(request, f"Handed over in {first:%b %Y}", of_month, back="month")


def delivery(request, pk):
    """Show the repairs that used a part from one delivery."""
    deliveries = Delivery.objects.select_related("part", "supplier")
    delivery = get_object_or_404(deliveries, pk=pk)
    used = PartUsed.objects.filter(delivery=delivery).values("repair")
    return _repairs(request, f"Delivery {delivery} of {delivery.part}", Q(pk__in=used))


def model(request, pk):
    """Show the repairs of one model."""
    model = get_object_or_404(DeviceModel, pk=pk)
    return _repairs(request, str(model), Q(job__device__model=model))


def board(request, pk):
    """Show the repairs of one board revision of a model."""
    model = get_object_or_404(DeviceModel, pk=pk)
    form = BoardForm(request.GET)
    if not form.is_valid():
        raise Http404
    revision = form.cleaned_data["revision"]
    on_board = Q(job__device__model=model, job__device__board_revision=revision)
    return _repairs(request, f"{model}, board {revision}", on_board)


def _repairs(request, heading, condition, *, back="deliveries"):
    """Show the repairs matching this condition, with their results."""
    form, choice = scope_form(request), drilldown_form(request)
    context = {
        "form": form,
        "params": choice.params("revision"),
        "heading": heading,
        "back": reverse(f"month:{back}"),
    }
    if form.is_valid():
        scope = form.scope
        period = {"as_of": scope.as_of, "within": scope.within}
        repairs = drilldown.counted_repairs(
            **period,
            result=choice.cleaned_data["result"],
            only=condition & scope.repairs & choice.pairs,
        )
        outcomes = drilldown.outcomes(repairs, **period)
        rows = [row for row in outcomes if choice.includes(row.days)]
        table = RequestConfig(request).configure(PairOutcomeTable(rows))
        context |= {
            "scope": scope,
            "comebacks": sum(row.came_back for row in rows),
            "repairs": len(rows),
            "table": table,
        }
    return render(request, "repairs/month/repairs.html", context)
