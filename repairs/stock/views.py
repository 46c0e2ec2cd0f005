from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from repairs.stock import actions, queries
from repairs.stock.filters import ShelfFilter
from repairs.stock.forms import CountForm, PartForm, ReceiveForm, ScrapForm
from repairs.stock.models import Part, Supplier
from repairs.stock.part_values import shown
from repairs.stock.tables import MoveTable, PartTable, UseTable
from shopdesk.look.forms import attempt, saved


def shelf(request):
    filter_ = ShelfFilter(request.GET, Part.objects.on_shelf())
    table = RequestConfig(request).configure(PartTable(filter_.qs))
    return render(
        request,
        "repairs/stock/shelf.html",
        {"filter": filter_, "form": filter_.form, "table": table},
    )


def part(request, pk):
    return _show(request, get_object_or_404(Part, pk=pk))


def _forms(request, part, sent=None):
    """The three forms of a part's page; the one that was sent keeps what was typed."""
    seen = {"seen": actions.last_move(part)}
    made = {
        "receive": ReceiveForm(prefix="r", initial=seen | {"on": timezone.localdate()}),
        "count": CountForm(prefix="c", initial=seen),
        "scrap": ScrapForm(prefix="s", initial=seen, part=part),
    }
    return made | (sent or {})


def _show(request, part, sent=None):
    made = _forms(request, part, sent)
    moves, uses = MoveTable(queries.moves(part)), UseTable(queries.uses(part))
    configure = RequestConfig(request).configure
    return render(
        request,
        "repairs/stock/part.html",
        {
            "part": part,
            "shown": shown(part.reading),
            "series": queries.series(part),
            "substitutes": queries.substitutes(part),
            "deliveries": part.deliveries.select_related("supplier").order_by(
                "-received_on", "-id"
            )[:100],
            "moves": configure(moves),
            "uses": configure(uses),
            "suppliers": Supplier.objects.all()[:500],
            "forms": list(made.values()),
            **made,
        },
    )


def add(request):
    form = PartForm(request.POST or None)
    if form.is_valid() and saved(form, unique="number"):
        messages.success(request, f"{form.instance.number} is on the shelf’s list.")
        return redirect(form.instance)
    return render(request, "repairs/stock/part_form.html", {"form": form})


def change(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = PartForm(request.POST or None, instance=part)
    if form.is_valid() and saved(form, unique="number"):
        messages.success(request, f"{part.number} is changed.")
        return redirect(part)
    number = Part.objects.values_list("number", flat=True).get(pk=pk)
    return render(
        request,
        "repairs/stock/part_form.html",
        {"form": form, "pk": pk, "number": number},
    )


@require_POST
def receive(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = ReceiveForm(request.POST, prefix="r")
    return _move(request, part, "receive", form, actions.receive)


@require_POST
def count(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = CountForm(request.POST, prefix="c")
    today = timezone.localdate()
    return _move(request, part, "count", form, actions.count, on=today)


@require_POST
def scrap(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = ScrapForm(request.POST, prefix="s", part=part)
    return _move(request, part, "scrap", form, actions.scrap)


def _move(request, part, name, form, action, **facts):
    """Do it and show the part; a refusal is shown over the form as it was typed."""
    if form.is_valid():
        facts |= {"by": request.user, **form.cleaned_data}
        if attempt(request, form, action, part, **facts):
            messages.success(
                request, f"{part.number}: {part.on_hand} on the shelf now."
            )
            return redirect(part)
        # So that sending it again is right, now that the refusal has been read.
        form.data = form.data.copy()
        form.data[form.add_prefix("seen")] = actions.last_move(part)
        part.refresh_from_db()
    return _show(request, part, {name: form})
