from collections import Counter

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST
from django_tables2 import RequestConfig

from repairs.faults import exchange
from repairs.faults.cautions import cautions
from repairs.faults.filters import FaultFilter
from repairs.faults.forms import (
    AddExistingFixForm,
    BookFileForm,
    CheckForm,
    FaultForm,
    FixForm,
    StarterForm,
    SymptomForm,
)
from repairs.faults.models import Check, Fault, Fix, Symptom
from repairs.faults.queries import seen
from repairs.faults.tables import CheckTable, FaultJobTable, FaultTable, SymptomTable
from shopdesk.look.downloads import download
from shopdesk.look.forms import edit_page, saved
from shopdesk.look.lists import list_page
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.once import act_once


def book(request):
    filter_ = FaultFilter(request.GET, Fault.objects.for_list())
    table = FaultTable(filter_.qs)
    return list_page(request, "repairs/faults/book.html", table, form=filter_.form)


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
        "symptoms": entry.symptoms.all(),
        "checks": entry.checks.all(),
        "merged_entries": entry.merged_entries.all(),
        "seen": seen(entry),
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
        fix=fix,
        faults=Fault.objects.filter(fixes=pk),
    )


def starter(request):
    """Add areas of the fault book that comes with the shop."""
    rows = exchange.starter_book()
    counts = Counter(row["area"] for row in rows if row["entry"] == "fault")
    form = StarterForm(request.POST or None, counts=counts)
    if form.is_valid():
        chosen = exchange.only_areas(rows, form.cleaned_data["areas"])
        added = attempt(request, form, exchange.import_book, chosen)
        if added:
            messages.success(request, _added(added.result))
            return redirect("faults:book")
    return render(request, "repairs/faults/starter.html", {"form": form})


def file(request):
    """Show how the fault book is exchanged as a file; add entries from one."""
    form = BookFileForm(request.POST or None, request.FILES or None)
    problems = []
    if form.is_valid():
        try:
            rows = exchange.read_book(form.cleaned_data["file"])
            with act_once(request):
                added = exchange.import_book(rows)
        except exchange.FaultBookFileError as refusal:
            problems = refusal.problems
        else:
            messages.success(request, _added(added))
            return redirect("faults:book")
    facts = {
        "form": form,
        "problems": problems[: exchange.MAX_ERRORS],
        "more": max(0, len(problems) - exchange.MAX_ERRORS),
        "columns": exchange.COLUMNS,
    }
    return render(request, "repairs/faults/file.html", facts)


@require_GET
def csv(request):
    record_event(Action.DOWNLOADED, file="fault-book.csv")
    return download(exchange.book_csv(), name="fault-book.csv")


def _added(added: Counter | None) -> str:
    words = [
        f"{count} {exchange.FORMS[entry]._meta.model._meta.verbose_name_plural}"
        if count != 1
        else f"1 {entry}"
        for entry, count in (added or Counter()).items()
    ]
    return f"Added {', '.join(words)}." if words else "All entries exist already."


def _short_list(model, table_class, form_class):
    """Return the views of a short list: to show it, and to add and change an entry."""
    noun = model._meta.verbose_name
    page = f"faults:{noun}s"

    def show(request, sent=None):
        form = form_class(sent)
        if saved(request, form):
            return redirect(page)
        table = table_class(model.objects.all())
        facts = {"form": form, "noun": noun}
        return list_page(request, "repairs/faults/list.html", table, **facts)

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
