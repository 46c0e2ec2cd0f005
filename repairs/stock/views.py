from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from repairs.stock import actions, ordering, queries
from repairs.stock.filters import PartFilter
from repairs.stock.forms import (
    BlockForm,
    CostForm,
    CountForm,
    PartForm,
    ReceiveForm,
    ScrapForm,
    WantedForm,
)
from repairs.stock.labels import MAX_LABELS, SIZES, render_labels
from repairs.stock.models import Delivery, Part, Supplier
from repairs.stock.part_values import format_value
from repairs.stock.tables import MovementTable, PartTable, UseTable
from shopdesk.look.downloads import pdf_response
from shopdesk.look.forms import edit_page
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.models import Role
from shopdesk.staff.permissions import can_see_costs
from shopdesk.stamp import Stamp

MAX_DELIVERIES = 100
MOVEMENT_FORMS = {"receive": ReceiveForm, "count": CountForm, "scrap": ScrapForm}


def parts(request):
    filter_ = PartFilter(request.GET, Part.objects.for_list())
    table = PartTable(filter_.qs)
    facts = {"form": filter_.form, "label_sizes": SIZES}
    return list_page(request, "repairs/stock/parts.html", table, **facts)


def labels(request):
    """Labels of all parts that the filter of the list shows."""
    parts = PartFilter(request.GET, Part.objects.order_by("number")).qs
    return _labels(request, parts[:MAX_LABELS])


def label(request, pk):
    return _labels(request, [get_object_or_404(Part, pk=pk)])


def _labels(request, parts):
    size = request.GET.get("size", SIZES[0])
    if size not in SIZES:
        raise Http404
    facts = {"size": size, "made_at": timezone.now()}
    made = attempt(request, None, render_labels, parts, **facts)
    if not made:
        return redirect("stock:parts")
    return pdf_response(made.result, name="part-labels")


def part(request, pk):
    return part_page(request, get_object_or_404(Part, pk=pk), {})


def part_page(request, part, sent, *, sent_cost=None, sent_block=None):
    """The page of a part; of its four forms, the one in `sent` keeps its entries.

    So do `sent_cost` and `sent_block`, the forms of one delivery.
    """
    initial = {"last_movement_id": actions.last_movement(part)}
    forms = {
        name: _movement_form(request, name, part, initial=initial)
        for name in MOVEMENT_FORMS
    } | sent
    deliveries = part.deliveries.select_related("supplier").oldest_first().reverse()
    deliveries = list(deliveries[:MAX_DELIVERIES])
    if can_see_costs(request.user, request.shop):
        for delivery in deliveries:
            if delivery.unit_cost is None:
                form = CostForm(delivery=delivery, shop=request.shop)
                is_sent = sent_cost and sent_cost.prefix == form.prefix
                delivery.cost_form = sent_cost if is_sent else form
    if request.user.role == Role.OWNER:
        for delivery in deliveries:
            form = BlockForm(delivery=delivery)
            is_sent = sent_block and sent_block.prefix == form.prefix
            delivery.block_form = sent_block if is_sent else form
    on = timezone.localdate()
    stocked = ordering.for_ordering(Part.objects.filter(pk=part.pk)).get()
    part.reserved, part.on_order = stocked.reserved, stocked.on_order
    use = ordering.past_use([part], on=on).get(part.pk)
    needed = ordering.need_of(part, use, common=ordering.common_rate(on=on))
    forms.setdefault(
        "wanted",
        WantedForm(initial={"quantity": max(needed.quantity, part.wanted) or None}),
    )
    movements = part.movements.select_related("delivery", "by").order_by("-id")
    uses = part.used_in.select_related("repair__job__device__model").order_by("-id")
    configure = RequestConfig(request).configure
    return render(
        request,
        "repairs/stock/part.html",
        {
            "part": part,
            "parsed_value": format_value(part.parsed_value),
            "series": queries.series(part),
            "substitutes": queries.substitutes(part),
            "deliveries": deliveries,
            "movements": configure(MovementTable(movements)),
            "uses": configure(UseTable(uses)),
            "reservations": queries.reserved(part)[1] if part.reserved else [],
            "orders": part.orders.open().for_list() if part.on_order else [],
            "need": needed,
            "label_sizes": SIZES,
            "suppliers": Supplier.objects.all()[:500],
            "forms": [*forms.values(), *filter(None, (sent_cost, sent_block))],
            "blocked_count": sum(one.blocked_quantity for one in deliveries),
            **forms,
        },
    )


def _movement_form(request, name, part, *sent, **options):
    """Return the form of a stock movement, as this user may see it."""
    facts = {"part": part, "shop": request.shop, **options}
    if name == "receive":
        facts["sees_costs"] = can_see_costs(request.user, request.shop)
    return MOVEMENT_FORMS[name](*sent, **facts)


def add(request):
    form = PartForm(request.POST or None, shop=request.shop)
    return edit_page(request, form, title="Add part", cancel=reverse("stock:parts"))


def change(request, pk):
    part = get_object_or_404(Part, pk=pk)
    form = PartForm(request.POST or None, instance=part, shop=request.shop)
    return edit_page(request, form, title=f"Change {part.number}")


@require_POST
def receive(request, pk):
    return _move(request, pk, "receive", actions.receive)


@require_POST
def enter_cost(request, pk):
    """Enter the cost of a delivery that was received without it."""
    delivery = get_object_or_404(Delivery.objects.select_related("part"), pk=pk)
    if not can_see_costs(request.user, request.shop):
        raise PermissionDenied
    form = CostForm(request.POST, delivery=delivery, shop=request.shop)
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), **form.cleaned_data}
        if attempt(request, form, actions.enter_cost, delivery, **facts):
            messages.success(request, f"Unit cost of delivery {delivery} saved.")
            return redirect(delivery)
        delivery.refresh_from_db()
    return part_page(request, delivery.part, {}, sent_cost=form)


@require_POST
def block(request, pk):
    """Set a delivery aside."""
    delivery = get_object_or_404(Delivery.objects.select_related("part"), pk=pk)
    form = BlockForm(request.POST, delivery=delivery)
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), **form.cleaned_data}
        if attempt(request, form, actions.block_delivery, delivery, **facts):
            messages.success(request, f"Delivery {delivery} is blocked.")
            if text := queries.shortage(Part.objects.get(pk=delivery.part_id)):
                messages.warning(request, text)
            return redirect(delivery)
        delivery.refresh_from_db()
    return part_page(request, delivery.part, {}, sent_block=form)


@require_POST
def release(request, pk):
    """Put a blocked delivery back in stock."""
    delivery = get_object_or_404(Delivery.objects.select_related("part"), pk=pk)
    action = actions.release_delivery
    if attempt(request, None, action, delivery, stamp=Stamp.of(request)):
        messages.success(request, f"Delivery {delivery} is in stock again.")
    return redirect(delivery)


@require_POST
def count(request, pk):
    return _move(request, pk, "count", actions.count)


@require_POST
def scrap(request, pk):
    return _move(request, pk, "scrap", actions.scrap)


def _move(request, pk, name, action):
    """Move stock and show the part; a refusal is shown above the form."""
    part = get_object_or_404(Part, pk=pk)
    form = _movement_form(request, name, part, request.POST)
    if form.is_valid():
        facts = {"stamp": Stamp.of(request), **form.cleaned_data}
        if attempt(request, form, action, part, **facts):
            messages.success(request, f"{part.number}: {part.on_hand} in stock.")
            if name != "receive" and (text := queries.shortage(part)):
                messages.warning(request, text)
            return redirect(part)
        # The user has now seen the refusal: sending the form again is accepted.
        form.data = form.data.copy()
        form.data[form.add_prefix("last_movement_id")] = actions.last_movement(part)
        part.refresh_from_db()
    return part_page(request, part, {name: form})
