"""The audit trail: all of it for the owner, and the history of one record."""

from urllib.parse import urlsplit

from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import render
from django.urls import resolve, reverse
from django.views.decorators.http import require_GET
from django_tables2 import RequestConfig

from shopdesk.recording.models import TrailEntry
from shopdesk.staff.permissions import can_open
from shopdesk.trail.filters import TrailFilter
from shopdesk.trail.sentences import describe, recorded_model
from shopdesk.trail.tables import HistoryTable, TrailTable

FULL_TRAIL = "trail:all"


@require_GET
def all_entries(request):
    """Everything that was changed or happened, filtered, the latest first."""
    filter_ = TrailFilter(request.GET, queryset=TrailEntry.objects.order_by("-id"))
    entries = filter_.qs if filter_.form.is_valid() else TrailEntry.objects.none()
    facts = {"table": _page(request, TrailTable(entries)), "form": filter_.form}
    return render(request, "shopdesk/trail/all.html", facts)


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
    facts = {
        "table": _page(request, HistoryTable(entries), is_one_record=True),
        "kind": model._meta.verbose_name,
        "record": found or f"{pk}, deleted",
        "url": _url(found) or reverse(FULL_TRAIL),
    }
    return render(request, "shopdesk/trail/record.html", facts)


def _page(request, table, **options):
    """Return the table at the requested page, its entries described."""
    RequestConfig(request).configure(table)
    entries = [row.record for row in table.paginated_rows]
    describe(entries, shop=request.shop, user=request.user, **options)
    return table


def _url(record) -> str:
    return record.get_absolute_url() if hasattr(record, "get_absolute_url") else ""


def _may_see(user, record) -> bool:
    """Whether `user` may open the record's own page; one without any is the owner's."""
    url = urlsplit(_url(record)).path
    return can_open(user, resolve(url).view_name if url else FULL_TRAIL)
