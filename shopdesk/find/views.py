"""One box that finds anything: typed, or scanned from a label."""

from django.shortcuts import redirect, render

from shopdesk.find.forms import FindForm
from shopdesk.find.labels import is_misread, readings
from shopdesk.find.queries import look_for


def find(request):
    """Straight to the one thing that is exactly meant, else what it may be."""
    form = FindForm(request.GET if "q" in request.GET else None)
    if not form.is_valid():
        return render(request, "shopdesk/find/find.html", {"form": form})
    words = form.cleaned_data["q"]
    groups = look_for(readings(words), by=request.user)
    exact = [record for found in groups for record in found.exact]
    if len(exact) == 1:
        return redirect(exact[0])
    if misread := is_misread(words) and not exact:
        groups = []
    facts = {"form": form, "find_text": words, "groups": groups, "is_misread": misread}
    return render(request, "shopdesk/find/find.html", facts)
