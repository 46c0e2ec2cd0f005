from django.contrib import messages
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
from shopdesk.look.forms import saved


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
    return _edit_fault(request, None, "Add fault", reverse("faults:book"))


def change(request, pk):
    entry = get_object_or_404(Fault, pk=pk)
    return _edit_fault(request, entry, "Change fault", entry.get_absolute_url())


def _edit_fault(request, entry, title, cancel):
    form = FaultForm(request.POST or None, instance=entry)
    if _save(request, form):
        return redirect(form.instance)
    facts = {"title": title, "form": form, "cancel": cancel}
    facts["areas"] = Fault.objects.areas()
    return render(request, "repairs/faults/fault_form.html", facts)


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
        existing.cleaned_data["fix"].faults.add(entry)
        return redirect(entry)
    if _save(request, form):
        return redirect(entry)
    facts = {"fault": entry, "form": form, "existing": existing, "forms": [existing]}
    return render(request, "repairs/faults/add_fix.html", facts)


def change_fix(request, pk):
    fix = get_object_or_404(Fix, pk=pk)
    form = FixForm(request.POST or None, instance=fix)
    if _save(request, form):
        return redirect(fix.faults.first() or "faults:book")
    facts = {"title": "Change fix", "form": form, "cancel": reverse("faults:book")}
    facts["faults"] = Fault.objects.filter(fixes=pk)
    return render(request, "repairs/faults/change_fix.html", facts)


def _save(request, form):
    """Save a valid form; an entry that exists by now is reported at its name."""
    unique = "code" if "code" in form.fields else "name"
    if not (form.is_valid() and saved(form, unique=unique)):
        return False
    messages.success(request, f"{form.instance} saved.")
    return True


# --- the two short lists ----------------------------------------------------------

LISTS = {
    Symptom: ("faults:symptoms", SymptomTable, SymptomForm),
    Check: ("faults:checks", CheckTable, CheckForm),
}


def symptoms(request):
    return _list(request, Symptom)


@require_POST
def add_symptom(request):
    return _list(request, Symptom, request.POST)


def change_symptom(request, pk):
    return _change(request, Symptom, pk)


def checks(request):
    return _list(request, Check)


@require_POST
def add_check(request):
    return _list(request, Check, request.POST)


def change_check(request, pk):
    return _change(request, Check, pk)


def _list(request, model, sent=None):
    page, table_class, form_class = LISTS[model]
    form = form_class(sent)
    if _save(request, form):
        return redirect(page)
    table = RequestConfig(request).configure(table_class(model.objects.all()))
    facts = {"table": table, "form": form, "word": model._meta.verbose_name}
    return render(request, "repairs/faults/list.html", facts)


def _change(request, model, pk):
    page, _, form_class = LISTS[model]
    entry = get_object_or_404(model, pk=pk)
    form = form_class(request.POST or None, instance=entry)
    if _save(request, form):
        return redirect(page)
    facts = {"title": f"Change {model._meta.verbose_name}", "form": form}
    facts |= {"cancel": reverse(page), "lede": "Retired entries stay on past jobs."}
    return render(request, "shopdesk/look/edit.html", facts)
