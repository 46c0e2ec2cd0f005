"""The audit trail: all of it for the owner, and the history of one record."""

from urllib.parse import urlsplit

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import redirect, render
from django.urls import resolve, reverse
from django.utils.translation import gettext
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from shopdesk.look.lists import FILE, list_page
from shopdesk.recording.models import TrailEntry
from shopdesk.staff.permissions import can_open
from shopdesk.trail.filters import TrailFilter
from shopdesk.trail.sentences import describe, recorded_model
from shopdesk.trail.tables import HistoryTable, TrailTable

FULL_TRAIL = "trail:all"
MAX_IN_FILE = 50_000
"""Entries of a file: some 40 s; our proxy waits 75 s for an answer."""


@require_GET
def all_entries(request):
    """Everything that was changed or happened, filtered, the latest first."""
    filter_ = TrailFilter(request.GET, queryset=TrailEntry.objects.order_by("-id"))
    entries = filter_.qs if filter_.form.is_valid() else TrailEntry.objects.none()
    table = TrailTable(entries, shop=request.shop, user=request.user)
    if FILE in request.GET and (count := entries.count()) > MAX_IN_FILE:
        messages.error(
            request,
            gettext(
                "These are %(count)s entries. Filter the list: a file can have at"
                " most %(most)s."
            )
            % {"count": f"{count:,}", "most": f"{MAX_IN_FILE:,}"},
        )
        params = request.GET.copy()
        del params[FILE]
        return redirect(f"{reverse(FULL_TRAIL)}?{params.urlencode()}")
    return list_page(request, "shopdesk/trail/all.html", table, form=filter_.form)


@require_GET
def record(request, kind, pk):
    """What was changed of one record, for those who may open it."""
    model = recorded_model(kind)
    if model is None:
        raise Http404
    found = model._base_manager.select_related(*model.label_relations)
    found = found.filter(pk=pk).first()
    if not _may_see(request.user, found):
        raise PermissionDenied
    entries = TrailEntry.objects.about(kind, pk)
    if found is None and not entries.exists():
        raise Http404
    table = RequestConfig(request).configure(HistoryTable(entries))
    shown = [row.record for row in table.paginated_rows]
    describe(shown, shop=request.shop, user=request.user, is_one_record=True)
    facts = {
        "table": table,
        "kind": model._meta.verbose_name,
        "record": found or gettext("%(number)s, deleted") % {"number": pk},
        "url": _url(found) or reverse(FULL_TRAIL),
    }
    return render(request, "shopdesk/trail/record.html", facts)


def _url(record) -> str:
    return record.get_absolute_url() if hasattr(record, "get_absolute_url") else ""


def _may_see(user, record) -> bool:
    """Whether `user` may open the record's own page; one without any is the owner's."""
    url = urlsplit(_url(record)).path
    return can_open(user, resolve(url).view_name if url else FULL_TRAIL)
