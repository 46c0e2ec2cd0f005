"""One box that finds anything: typed, or scanned from a label."""

from django.core.paginator import Paginator
from django.shortcuts import redirect, render

from shopdesk.front.search.forms import FindForm
from shopdesk.front.search.labels import is_misread, readings
from shopdesk.front.search.queries import look_for, types_for

ON_A_PAGE = 50
"""Of one kind, where the room has no list of its own."""


def find(request):
    """Straight to the one thing that is exactly meant, else what it may be."""
    form = FindForm(request.GET if "q" in request.GET else None)
    if not form.is_valid():
        return render(request, "shopdesk/front/search/find.html", {"form": form})
    words, only = form.cleaned_data["q"], form.cleaned_data["only"]
    for kind in types_for(request.user):
        if kind.name == only:
            return _all_of(kind, request, words)
    groups = look_for(readings(words), by=request.user)
    exact = [record for found in groups for record in found.exact]
    if len(exact) == 1:
        return redirect(exact[0])
    if misread := is_misread(words) and not exact:
        groups = []
    facts = {"form": form, "find_text": words, "groups": groups, "is_misread": misread}
    return render(request, "shopdesk/front/search/find.html", facts)


def _all_of(kind, request, words):
    best = Paginator(kind.best(words, by=request.user), ON_A_PAGE)
    page = best.get_page(request.GET.get("page"))
    found = kind.with_html(words, page.object_list)
    facts = {"find_text": words, "found": found, "page": page}
    return render(request, "shopdesk/front/search/all_of_a_kind.html", facts)
