"""What the database keeps unchanged in the workshop."""

from shopdesk.guards import append_only

GUARDS = [
    *append_only("repairs_step", "A step of a job is never changed."),
    *append_only("repairs_stockmove", "A stock move is never changed: move it back."),
    *append_only(
        "repairs_returndecision", "A decision is never changed: decide again."
    ),
]
