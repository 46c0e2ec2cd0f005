from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from repairs.stock import actions, queries
from repairs.stock.filters import PartFilter
from repairs.stock.forms import CountForm, PartForm, ReceiveForm, ScrapForm
from repairs.stock.models import Part, Supplier
from repairs.stock.part_values import format_value
from repairs.stock.tables import MovementTable, PartTable, UseTable
from shopdesk.look.forms import attempt, saved
from shopdesk.stamp import Stamp


def parts(request):
    filter_ = PartFilter(request.GET, Part.objects.for_list())
    table = RequestConfig(request).configure(PartTable(filter_.qs))
    facts = {"form": filter_.form, "table": table}
    return render(request, "repairs/stock/parts.html", facts)


def part(request, pk):
    return _show(request, get_object_or_404(Part, pk=pk))


def _forms(request, part, sent):
    """The three forms of a part’s page; the one that was sent keeps its entries."""
    shown = {"last_movement_id": actions.last_movement(part)}
    today = {"on": timezone.localdate()}
    receive = ReceiveForm(prefix="r", initial=shown | today, shop=request.shop)
    return {
        "receive": receive,
        "count": CountForm(prefix="c", initial=shown),
        "scrap": ScrapForm(prefix="s", initial=shown, part=part),
    } | (sent or {})


def _show(request, part, sent=None):
    forms = _forms(request, part, sent)
    movements, uses = queries.movements(part), queries.uses(part)
    configure = RequestConfig(request).configure
    return render(
        request,
        "repairs/stock/part.html",
        {
            "part": part,
            "parsed_value": format_value(part.parsed_value),
            "series": queries.series(part),
            "substitutes": queries.substitutes(part),
            "deliveries": queries.deliveries(part),
            "movements": configure(MovementTable(movements)),
            "uses": configure(UseTable(uses)),
            "suppliers": Supplier.objects.all()[:500],
            "forms": list(forms.values()),
            **forms,
        },
    )


def add(request):
    return _edit(request, None, "Add part", reverse("stock:parts"))


def change(request, pk):
    part = get_object_or_404(Part, pk=pk)
    return _edit(request, part, f"Change {part.number}", part.get_absolute_url())


def _edit(request, part, title, cancel):
    form = PartForm(request.POST or None, instance=part, shop=request.shop)
    if form.is_valid() and saved(form, unique="number"):
        messages.success(request, f"{form.instance.number} saved.")
        return redirect(form.instance)
    facts = {"title": title, "form": form, "cancel": cancel}
    return render(request, "shopdesk/look/edit.html", facts)


@require_POST
def receive(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = ReceiveForm(request.POST, prefix="r", shop=request.shop)
    return _move(request, part, "receive", form, actions.receive)


@require_POST
def count(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = CountForm(request.POST, prefix="c")
    return _move(request, part, "count", form, actions.count)


@require_POST
def scrap(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = ScrapForm(request.POST, prefix="s", part=part)
    return _move(request, part, "scrap", form, actions.scrap)


def _move(request, part, name, form, action):
    """Do it and show the part; a refusal is shown over the form as it was typed."""
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), **form.cleaned_data}
        if attempt(request, form, action, part, **facts):
            messages.success(request, f"{part.number}: {part.on_hand} in stock.")
            return redirect(part)
        # So that sending it again is right, now that the refusal has been read.
        form.data = form.data.copy()
        form.data[form.add_prefix("last_movement_id")] = actions.last_movement(part)
        part.refresh_from_db()
    return _show(request, part, {name: form})
