"""What the bench knows of a fault: notes by board, and what is usually measured."""

from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST
from django.views.decorators.vary import vary_on_headers

from repairs.faults.models import Fault
from repairs.jobs.models import Job
from repairs.knowledge.fault_readings import fault_points
from repairs.knowledge.forms import BoardNoteForm, NotesForm
from repairs.knowledge.models import BoardNote
from shopdesk.look.forms import edit_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.permissions import can_open


@vary_on_headers("HX-Request")
def readings(request, pk):
    """Show what is usually measured with a fault. A fragment for htmx."""
    fault = get_object_or_404(Fault, pk=pk)
    if not request.htmx:
        return redirect(fault)
    facts = {"points": fault_points(fault)}
    return render(request, "repairs/knowledge/_fault_readings.html", facts)


@vary_on_headers("HX-Request")
def notes(request):
    """Show the notes on a fault, or those that fit a job. A fragment for htmx."""
    if not request.htmx:
        return redirect("faults:book")
    form = NotesForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    fault = Fault.objects.filter(pk=asked.get("fault")).first()
    job = Job.objects.filter(pk=asked.get("job")).select_related("device__model")
    facts = {"fault": fault, "may": can_open(request.user, "knowledge:add_note")}
    if fault:
        facts["notes"] = fault.board_notes.for_list()
    elif job := job.first():
        facts |= {"job": job, "notes": BoardNote.objects.all().for_job(job)}
    return render(request, "repairs/knowledge/_board_notes.html", facts)


def add_note(request, pk):
    fault = get_object_or_404(Fault, pk=pk)
    form = BoardNoteForm(request.POST or None, instance=BoardNote(fault=fault))
    title = f"Add note to {fault.code}"
    return edit_page(request, form, title=title, cancel=fault.get_absolute_url())


def change_note(request, pk):
    note = get_object_or_404(BoardNote.objects.for_list(), pk=pk)
    form = BoardNoteForm(request.POST or None, instance=note)
    return edit_page(request, form, title=f"Change note to {note.fault.code}")


@require_POST
def remove_note(request, pk):
    note = get_object_or_404(BoardNote.objects.for_list(), pk=pk)
    attempt(request, None, note.delete)
    return redirect(note.fault)
