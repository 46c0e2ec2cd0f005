from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST
from django_tables2 import RequestConfig

from repairs.faults import queries
from repairs.faults.cautions import cautions
from repairs.faults.filters import BookFilter
from repairs.faults.forms import (
    AddExistingFixForm,
    CheckForm,
    FaultForm,
    FixForm,
    SymptomForm,
)
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.faults.tables import CheckTable, FaultTable, FoundTable, SymptomTable
from shopdesk.look.forms import saved


def book(request):
    filter_ = BookFilter(request.GET, Fault.objects.in_book())
    table = RequestConfig(request).configure(FaultTable(filter_.qs))
    return render(
        request,
        "repairs/faults/book.html",
        {"filter": filter_, "form": filter_.form, "table": table},
    )


def fault(request, pk):
    entry = get_object_or_404(Fault, pk=pk)
    fixes = list(queries.fixes(entry))
    hazards = {entry.hazard, *(fix.hazard for fix in fixes if not fix.is_retired)}
    found = FoundTable(queries.found_on(entry))
    return render(
        request,
        "repairs/faults/fault.html",
        {
            "fault": entry,
            "fixes": fixes,
            "cautions": cautions(hazards=hazards),
            "table": RequestConfig(request).configure(found),
        },
    )


def add(request):
    form = FaultForm(request.POST or None)
    if form.is_valid() and saved(form, unique="code"):
        messages.success(request, f"{form.instance.code} is in the book.")
        return redirect(form.instance)
    return _fault_form(request, form)


def change(request, pk):
    entry = get_object_or_404(Fault, pk=pk)
    form = FaultForm(request.POST or None, instance=entry)
    if form.is_valid() and saved(form, unique="code"):
        messages.success(request, f"{entry.code} is changed.")
        return redirect(entry)
    return _fault_form(request, form, pk)


def _fault_form(request, form, pk=None):
    known = {"form": form, "areas": Fault.objects.areas(), "pk": pk}
    return render(request, "repairs/faults/fault_form.html", known)


def add_fix(request, pk):
    """A new fix for a fault, or one from the book."""
    entry = get_object_or_404(Fault, pk=pk)
    is_offer = "offer" in request.POST
    offer = AddExistingFixForm(
        request.POST if is_offer else None, prefix="o", fault=entry
    )
    typed = request.POST if request.POST and not is_offer else None
    form = FixForm(typed, initial={"for_faults": entry.code})
    if is_offer and offer.is_valid():
        offer.cleaned_data["fix"].faults.add(entry)
        return redirect(entry)
    if form.is_valid() and saved(form, unique="code"):
        messages.success(request, f"{form.instance.code} is in the book.")
        return redirect(entry)
    return render(
        request,
        "repairs/faults/add_fix.html",
        {"fault": entry, "form": form, "offer": offer, "forms": [offer]},
    )


def change_fix(request, pk):
    fix = get_object_or_404(Fix, pk=pk)
    form = FixForm(request.POST or None, instance=fix)
    if form.is_valid() and saved(form, unique="code"):
        messages.success(request, f"{fix.code} is changed.")
        return redirect(fix.faults.first() or "faults:book")
    faults = Fault.objects.filter(fixes=pk)
    return render(
        request, "repairs/faults/change_fix.html", {"form": form, "faults": faults}
    )


# --- the two short lists ----------------------------------------------------------


def symptoms(request):
    return _list(request, SymptomTable(Symptom.objects.all()), SymptomForm())


@require_POST
def add_symptom(request):
    table = SymptomTable(Symptom.objects.all())
    return _add(request, SymptomForm(request.POST), table)


def change_symptom(request, pk):
    entry = get_object_or_404(Symptom, pk=pk)
    return _change(request, SymptomForm(request.POST or None, instance=entry), entry)


def checks(request):
    return _list(request, CheckTable(Check.objects.all()), CheckForm())


@require_POST
def add_check(request):
    return _add(request, CheckForm(request.POST), CheckTable(Check.objects.all()))


def change_check(request, pk):
    entry = get_object_or_404(Check, pk=pk)
    return _change(request, CheckForm(request.POST or None, instance=entry), entry)


LISTS = {
    Symptom: ("faults:symptoms", "symptom"),
    Check: ("faults:checks", "check"),
}


def _list(request, table, form):
    _, word = LISTS[form._meta.model]
    table = RequestConfig(request).configure(table)
    known = {"table": table, "form": form, "word": word}
    return render(request, "repairs/faults/list.html", known)


def _add(request, form, table):
    if form.is_valid() and saved(form, unique="name"):
        messages.success(request, f"“{form.instance}” is on the list.")
        return redirect(LISTS[form._meta.model][0])
    return _list(request, table, form)


def _change(request, form, entry):
    page, word = LISTS[form._meta.model]
    if form.is_valid() and saved(form, unique="name"):
        messages.success(request, f"“{entry}” is changed.")
        return redirect(page)
    known = {"form": form, "word": word, "page": page}
    return render(request, "repairs/faults/change_listed.html", known)
