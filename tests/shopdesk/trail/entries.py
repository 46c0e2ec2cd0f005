"""The entries of the trail as tests read them."""

from shopdesk.recording.models import TrailEntry
from shopdesk.recording.writing import key_of


def entries_of(record):
    """Action and values of each entry about the record itself, the first one first."""
    kind, pk = key_of(record)
    found = TrailEntry.objects.filter(kind=kind, record=pk).order_by("id")
    return [(entry.action, entry.values) for entry in found]


def last_entry():
    return TrailEntry.objects.order_by("id").last()
