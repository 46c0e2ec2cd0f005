from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from repairs.faults.cautions import cautions
from repairs.faults.filters import FaultFilter
from repairs.faults.forms import (
    AddExistingFixForm,
    CheckForm,
    FaultForm,
    FixForm,
    SymptomForm,
)
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.faults.tables import CheckTable, FaultJobTable, FaultTable, SymptomTable
from shopdesk.look.forms import edit_page, saved
from shopdesk.sent_forms.attempts import attempt


def book(request):
    filter_ = FaultFilter(request.GET, Fault.objects.for_list())
    table = RequestConfig(request).configure(FaultTable(filter_.qs))
    facts = {"form": filter_.form, "table": table}
    return render(request, "repairs/faults/book.html", facts)


def fault(request, pk):
    entry = get_object_or_404(Fault, pk=pk)
    fixes = entry.fixes.prefetch_related("usual_parts__part")
    fixes = list(fixes.order_by("is_retired", "code"))
    hazards = {entry.hazard, *(fix.hazard for fix in fixes if not fix.is_retired)}
    repairs = entry.repairs.select_related("job__device__model", "fix")
    jobs = FaultJobTable(repairs.order_by("-job__booked_in_on", "-id"))
    facts = {
        "fault": entry,
        "fixes": fixes,
        "cautions": cautions(hazards=hazards),
        "table": RequestConfig(request).configure(jobs),
    }
    return render(request, "repairs/faults/fault.html", facts)


def add(request):
    form = FaultForm(request.POST or None)
    return _edit_fault(request, form, title="Add fault", cancel=reverse("faults:book"))


def change(request, pk):
    entry = get_object_or_404(Fault, pk=pk)
    form = FaultForm(request.POST or None, instance=entry)
    return _edit_fault(request, form, title="Change fault")


def _edit_fault(request, form, **facts):
    facts |= {"template": "repairs/faults/fault_form.html"}
    return edit_page(request, form, areas=Fault.objects.areas(), **facts)


def add_fix(request, pk):
    """A new fix for a fault, or an existing one."""
    entry = get_object_or_404(Fault, pk=pk)
    is_existing = "existing" in request.POST
    existing = AddExistingFixForm(
        request.POST if is_existing else None, prefix="existing", fault=entry
    )
    new = request.POST if request.POST and not is_existing else None
    form = FixForm(new, initial={"faults": entry.code})
    if existing.is_valid():
        attempt(request, None, existing.cleaned_data["fix"].faults.add, entry)
        return redirect(entry)
    if saved(request, form):
        return redirect(entry)
    facts = {"fault": entry, "form": form, "existing": existing, "forms": [existing]}
    return render(request, "repairs/faults/add_fix.html", facts)


def change_fix(request, pk):
    fix = get_object_or_404(Fix, pk=pk)
    return edit_page(
        request,
        FixForm(request.POST or None, instance=fix),
        title="Change fix",
        cancel=reverse("faults:book"),
        template="repairs/faults/change_fix.html",
        faults=Fault.objects.filter(fixes=pk),
    )


def _short_list(model, table_class, form_class):
    """Return the views of a short list: to show it, and to add and change an entry."""
    noun = model._meta.verbose_name
    page = f"faults:{noun}s"

    def show(request, sent=None):
        form = form_class(sent)
        if saved(request, form):
            return redirect(page)
        table = RequestConfig(request).configure(table_class(model.objects.all()))
        facts = {"table": table, "form": form, "noun": noun}
        return render(request, "repairs/faults/list.html", facts)

    @require_POST
    def add(request):
        return show(request, request.POST)

    def change(request, pk):
        entry = get_object_or_404(model, pk=pk)
        form = form_class(request.POST or None, instance=entry)
        facts = {"title": f"Change {noun}", "cancel": reverse(page), "after": page}
        facts |= {"lede": "Retired entries stay on past jobs."}
        return edit_page(request, form, **facts)

    return show, add, change


symptoms, add_symptom, change_symptom = _short_list(Symptom, SymptomTable, SymptomForm)
checks, add_check, change_check = _short_list(Check, CheckTable, CheckForm)
