"""The records of `shopdesk` that the database refuses to change."""

from shopdesk.recording.models import CONTENT
from shopdesk.triggers import ForbidChange, changed

TRAIL = "shopdesk_trailentry"
ADDED_ONLY = "The trail can only be added to."

GUARDS = [
    ForbidChange(TRAIL, "DELETE", ADDED_ONLY),
    ForbidChange(
        TRAIL, "INSERT", "An entry is sealed after it is written.", "NEW.hash <> ''"
    ),
    # An entry is sealed once, and its values may be erased; nothing else.
    ForbidChange(
        TRAIL,
        "UPDATE",
        ADDED_ONLY,
        changed(*CONTENT)
        + f" OR ({changed('position', 'previous_hash', 'hash')}"
        + " AND OLD.position IS NOT NULL)"
        + f" OR ({changed('details', 'salt')}"
        + " AND NOT (NEW.details = '' AND NEW.salt = ''))",
    ),
]
