"""The pages of an import, from the file to its result."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from repairs.faults.models import Fault, Fix
from repairs.jobs.models import PastImport, UncodedRepair
from repairs.sheet_import import actions
from repairs.sheet_import.coding import (
    code_repairs,
    paid_but_declined,
    reconsider_declined,
)
from repairs.sheet_import.forms import (
    ENTRIES,
    MAX_ROWS,
    CodingForm,
    ColumnsForm,
    FileReadingForm,
    GroupForm,
    UploadForm,
    ValuesForm,
)
from repairs.sheet_import.models import SheetDraft
from repairs.sheet_import.plan import SheetPlan
from repairs.sheet_import.questions import outcome_words, read_examples
from repairs.sheet_import.sheet_columns import FIELDS
from repairs.sheet_import.undoing import builds_on, undo_import
from repairs.sheet_import.written_values import shown
from shopdesk.look.downloads import download
from shopdesk.sent_forms.attempts import attempt
from shopdesk.stamp import Stamp

PER_PAGE = 25
MAX_PAIRS = 20
MIN_NAMED = 2
"""Rows of a group that gets a name by one button."""
STEPS = {
    "columns": "Columns",
    "values": "Values",
    "faults": "Faults",
    "fixes": "Fixes",
    "preview": "Preview",
    "confirm": "Import",
}


def overview(request):
    """Imports that were begun and that were made."""
    facts = {
        "drafts": SheetDraft.objects.select_related("by").defer("content", "cells"),
        "imports": PastImport.objects.select_related("by"),
        "uncoded": UncodedRepair.objects.count(),
    }
    return render(request, "repairs/sheet_import/all.html", facts)


def start(request):
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        done = attempt(
            request,
            form,
            actions.start_draft,
            file.read(),
            file=file.name,
            max_rows=MAX_ROWS,
            stamp=Stamp.of(request),
            field="file",
        )
        if done:
            return redirect(done.result)
    return render(request, "repairs/sheet_import/start.html", {"form": form})


def columns(request, pk):
    """How the file is read, and what its columns are."""
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    is_reading = "header_line" in request.POST
    reading = FileReadingForm(
        request.POST if is_reading else None,
        table=plan.table,
        initial={
            "sheet": plan.table.sheet,
            "encoding": plan.table.encoding,
            "separator": plan.table.separator,
            "header_line": plan.columns.header_line,
        },
    )
    if is_reading and reading.is_valid():
        how = dict(sheet="", encoding="", separator="") | reading.cleaned_data
        read = actions.read_again
        if attempt(request, reading, read, draft, stamp=Stamp.of(request), **how):
            return redirect(draft)
    form = ColumnsForm(
        request.POST if request.POST and not is_reading else None,
        columns=plan.columns,
        decided=draft.decisions.columns,
    )
    if form.is_valid() and _decide(request, form, draft, columns=form.decided):
        return redirect("sheet_import:values", pk)
    facts = {"form": form, "reading": reading, "forms": [reading]}
    return _page(request, "columns", draft, plan, **facts)


def values(request, pk):
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    if plan.conversion.questions_about("columns"):
        return redirect(draft)
    settled = plan.settled
    form = ValuesForm(
        request.POST or None,
        words=outcome_words(plan.columns, draft.decisions),
        initial={name: getattr(settled, name) for name in ValuesForm.base_fields},
    )
    if form.is_valid() and _decide(request, form, draft, **form.decided):
        return redirect("sheet_import:faults", pk)
    examples = [
        (FIELDS[one.field].label, one)
        for one in read_examples(plan.columns, draft.decisions, plan.bounds)
    ]
    return _page(request, "values", draft, plan, form=form, examples=examples)


def groups(request, pk, of):
    """What each group of texts stands for."""
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    found = getattr(plan.grouped, of)
    # Groups that are remembered may have no text in this list.
    page = Paginator([group for group in found if group.size], PER_PAGE).get_page(
        request.GET.get("page")
    )
    entries = dict(ENTRIES[of].objects.values_list("code", "name"))
    forms = [
        GroupForm(
            request.POST or None,
            group=group,
            of=of,
            entries=entries,
            prefix=f"g{page.start_index() + number}",
        )
        for number, group in enumerate(page)
    ]
    if request.method == "POST" and all(form.is_valid() for form in forms):
        done = attempt(
            request,
            None,
            actions.decide_groups,
            draft,
            of=of,
            groups=found,
            changed=[
                (form.cleaned_data["label"], form.changed_group) for form in forms
            ],
            merged=[
                form.group.label for form in forms if form.cleaned_data["is_merged"]
            ]
            if "merge" in request.POST
            else [],
            split=_split(request, forms) if "apart" in request.POST else [],
            min_named=MIN_NAMED if "name" in request.POST else 0,
            stamp=Stamp.of(request),
        )
        if done and "next" in request.POST and page.has_next():
            path = reverse(f"sheet_import:{of}", args=[pk])
            return redirect(f"{path}?page={page.next_page_number()}")
        if done and "next" in request.POST:
            then = "fixes" if of == "faults" else "preview"
            return redirect(f"sheet_import:{then}", pk)
        if done:
            return redirect(request.get_full_path())
    facts = {"forms": forms, "groups": page, "entries": entries.items(), "of": of}
    facts["uncoded_rows"] = sum(group.size for group in found if not group.code)
    return _page(request, of, draft, plan, template="groups", **facts)


def _split(request, forms):
    """Return the texts that are ticked, each with the first one of its group."""
    return [
        (form.group.label, text)
        for form in forms
        for number, text in enumerate(form.group.texts)
        if f"{form.prefix}:{number}" in request.POST.getlist("split")
    ]


def preview(request, pk):
    """The rows that need attention; values can be typed in place."""
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    if request.method == "POST":
        done = attempt(
            request,
            None,
            actions.correct,
            draft,
            typed=_typed(request),
            shown=_lines(request, "line"),
            left_out=_lines(request, "left_out"),
            stamp=Stamp.of(request),
        )
        if done:
            return redirect(request.get_full_path())
    conversion = plan.conversion
    remarks = Paginator(
        sorted(conversion.remarks, key=lambda one: (not one.is_left_out, one)),
        PER_PAGE,
    ).get_page(request.GET.get("page"))
    facts = {
        "remarks": _shown_remarks(plan, remarks),
        "page": remarks,
        "corrected": len(draft.decisions.corrections),
        "rows": len(conversion.rows),
        "coded": sum(not row.needs_coding for row in conversion.rows),
        "uncoded": sum(row.needs_coding for row in conversion.rows),
        "left_out": len({remark.line for remark in conversion.left_out}),
        "already": len(conversion.already),
    }
    return _page(request, "preview", draft, plan, **facts)


def _lines(request, name):
    return {int(line) for line in request.POST.getlist(name) if line.isdigit()}


def _typed(request):
    """Yield line, field and text of each value that was changed in the preview."""
    for name, text in request.POST.items():
        kind, _, rest = name.partition("-")
        line, _, field = rest.partition("-")
        before = request.POST.get(f"before-{rest}", "")
        is_known = field in FIELDS and line.isdigit()
        if kind == "value" and is_known and text.strip() != before.strip():
            yield line, field, text


def _shown_remarks(plan, remarks):
    """Return what the table shows of each remark; a row is ticked once."""
    left_out, lines, found = set(plan.decisions.left_out), set(), []
    for remark in remarks:
        facts = _shown_remark(plan, remark)
        facts["is_first"] = remark.line not in lines
        facts["is_chosen"] = remark.line in left_out
        lines.add(remark.line)
        found.append(facts)
    return found


def _shown_remark(plan, remark):
    """Return a remark with the value that it is about, and what tells the row."""
    row = plan.columns.frame.loc[remark.line]
    headers, decisions = plan.decisions.headers, plan.decisions
    typed = decisions.corrections.get(str(remark.line), {})

    def cell(name):
        header = headers.get(name)
        text = shown(row[header]) if header in row.index else ""
        return typed.get(name, text)

    value = cell(remark.field) if remark.field in FIELDS else None
    if remark.field == "back_again":
        value = remark.proposed
    about = [cell(name) for name in ("job", "customer", "model", "booked_in")]
    return {
        "remark": remark,
        "label": FIELDS[remark.field].label.rstrip("?")
        if remark.field in FIELDS
        else "",
        "value": value,
        "about": " · ".join(text for text in about if text),
    }


def confirm(request, pk):
    """What will be created, and the button that does it."""
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    stamp = Stamp.of(request)
    if request.method == "POST":
        done = attempt(
            request, None, actions.finish_draft, draft, plan=plan, stamp=stamp
        )
        if done:
            messages.success(request, f"{draft.file} is imported.")
            return redirect("sheet_import:result", done.result.pk)
    counts, report = actions.try_import(plan, stamp=stamp)
    facts = {
        "counts": actions.named_counts(counts) if counts else [],
        "report": report,
        "pairs": report.rows[:MAX_PAIRS] if report else [],
        "left_out": len({remark.line for remark in plan.conversion.left_out}),
    }
    return _page(request, "confirm", draft, plan, **facts)


def decisions(request, pk):
    """The decisions as a file for the command."""
    draft = get_object_or_404(SheetDraft, pk=pk)
    plan = _plan(request, draft)
    return download(plan.settled.to_json(), name="decisions.json")


@require_POST
def delete(request, pk):
    draft = get_object_or_404(SheetDraft, pk=pk)
    if attempt(request, None, draft.delete):
        messages.success(request, f"The import of {draft.file} is deleted.")
    return redirect("sheet_import:all")


def result(request, pk):
    record = get_object_or_404(PastImport.objects.select_related("by"), pk=pk)
    facts = {
        "record": record,
        "counts": actions.named_counts(record.counts),
        "builds_on": "" if record.undone_at else builds_on(record),
        "uncoded": UncodedRepair.objects.filter(job__past_import=record).count(),
    }
    return render(request, "repairs/sheet_import/result.html", facts)


@require_POST
def undo(request, pk):
    record = get_object_or_404(PastImport, pk=pk)
    stamp = Stamp.of(request)
    if attempt(request, None, undo_import, record, stamp=stamp):
        messages.success(request, f"The import of {record.file} is undone.")
    return redirect("sheet_import:result", pk)


def uncoded(request):
    """Past repairs without a fault and fix; several can be coded at once."""
    form = CodingForm(request.POST or None)
    chosen = [int(pk) for pk in request.POST.getlist("chosen") if pk.isdigit()]
    if form.is_valid():
        facts = form.cleaned_data | {"stamp": Stamp.of(request), "shop": request.shop}
        if done := attempt(request, form, code_repairs, chosen, **facts):
            repairs = "repair" if done.result == 1 else "repairs"
            messages.success(request, f"{done.result} {repairs} coded.")
            return redirect(request.get_full_path())
    found = UncodedRepair.objects.select_related(
        "job__device__model", "job__customer", "fault", "fix"
    )
    query = request.GET.get("q", "").strip()[:200]
    for word in query.split():
        found = found.filter(
            Q(fault_text__icontains=word)
            | Q(fix_text__icontains=word)
            | Q(job__complaint__icontains=word)
            | Q(job__number__iexact=word)
        )
    found = found.order_by("fault_text", "fix_text", "pk")
    facts = {
        "form": form,
        "page": Paginator(found, 50).get_page(request.GET.get("page")),
        "chosen": chosen,
        "q": query,
        "declined": paid_but_declined().count(),
        "faults": Fault.objects.filter(is_retired=False),
        "fixes": Fix.objects.filter(is_retired=False),
    }
    return render(request, "repairs/sheet_import/uncoded.html", facts)


@require_POST
def reconsider(request):
    """List past jobs that were recorded as declined although they were paid."""
    done = attempt(request, None, reconsider_declined, stamp=Stamp.of(request))
    if done:
        messages.success(request, f"{done.result} jobs are listed to be coded.")
    return redirect("sheet_import:uncoded")


# --- what the pages share ---------------------------------------------------------


def _plan(request, draft):
    return SheetPlan(
        draft.table,
        draft.decisions,
        shop=request.shop,
        on=timezone.localdate(),
        file=draft.file,
    )


def _decide(request, form, draft, **values):
    stamp = Stamp.of(request)
    return attempt(request, form, actions.decide, draft, stamp=stamp, **values)


def _page(request, step, draft, plan, *, template="", **facts):
    facts |= {
        "draft": draft,
        "step": step,
        "steps": [
            (f"sheet_import:{name}", label, name == step)
            for name, label in STEPS.items()
        ],
        "questions": plan.conversion.questions,
        "warnings": plan.table.warnings,
        "total": plan.conversion.total or len(plan.columns.frame),
    }
    return render(request, f"repairs/sheet_import/{template or step}.html", facts)
