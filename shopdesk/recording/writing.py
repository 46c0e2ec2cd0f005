"""Writes entries of the trail: about changes, in the words of the database, and events.

No entry holds a name of a customer beyond the values that changed: the trail keeps ids,
and labels are looked up when it is shown.
"""

from secrets import token_hex
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from shopdesk.recording.acting import Acting, current
from shopdesk.recording.canonical import json_line, to_json
from shopdesk.recording.chain import details_hash, seal_after_commit
from shopdesk.recording.models import Action, TrailEntry

BATCH = 500
Key = tuple[str, int | None]
NONE: Key = ("", None)


def new_entry(
    action: str, *, key: Key, parent: Key = NONE, details: dict[str, Any]
) -> TrailEntry:
    """Return an entry of who acts now, not saved yet."""
    return _entry(current(), action, key=key, parent=parent, details=details)


def write(entries: list[TrailEntry]) -> None:
    """Save entries, in one transaction with what they report."""
    if entries:
        TrailEntry.objects.bulk_create(entries, batch_size=BATCH)
        seal_after_commit()


def record_event(
    action: Action, record: models.Model | None = None, *, by: Any = None, **facts: Any
) -> None:
    """Add an event to the trail, about a record if one is given.

    `by` is who acted, if the request does not know yet, as when someone signs in.
    """
    acting = current()
    if by is not None:
        acting = Acting(acting.source, by)
    key = key_of(record) if record is not None else NONE
    details = {name: to_json(value) for name, value in facts.items()}
    with transaction.atomic():
        write([_entry(acting, action, key=key, parent=NONE, details=details)])


def key_of(record: models.Model) -> Key:
    return record._meta.label_lower, record.pk


def erase_details(*keys: Key) -> int:
    """Erase the values in all entries about these records; the chain still holds.

    Returns the number of entries; that they exist, and who wrote them when, remains.
    """
    erased = 0
    for kind, record in keys:
        entries = TrailEntry.objects.about(kind, record).exclude(details="")
        erased += entries.order_by().update(details="", salt="")
    return erased


def _entry(
    acting: Acting, action: str, *, key: Key, parent: Key, details: dict[str, Any]
) -> TrailEntry:
    by = acting.by if getattr(acting.by, "is_authenticated", False) else None
    salt, text = token_hex(16), json_line(details).decode()
    return TrailEntry(
        at=timezone.now(),
        by_id=by.pk if by else None,
        by_name=(by.name or by.username) if by else "",
        source=acting.source,
        action=action,
        kind=key[0],
        record=key[1],
        parent_kind=parent[0],
        parent=parent[1],
        details=text,
        salt=salt,
        details_hash=details_hash(text, salt=salt),
    )
