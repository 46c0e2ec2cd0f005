"""The states of a quote."""

from shopdesk.errors import InvalidTransitionError

DRAFT = "draft"
SENT = "sent"
ACCEPTED = "accepted"
DECLINED = "declined"
REPLACED = "replaced"

LABELS = {
    DRAFT: "draft",
    SENT: "sent",
    ACCEPTED: "accepted",
    DECLINED: "declined",
    REPLACED: "replaced",
}
CHOICES = list(LABELS.items())

ALLOWED_TRANSITIONS: dict[str, frozenset[str]] = {
    DRAFT: frozenset({SENT, REPLACED}),
    SENT: frozenset({ACCEPTED, DECLINED, REPLACED}),
    ACCEPTED: frozenset({REPLACED}),
    DECLINED: frozenset({REPLACED}),
    REPLACED: frozenset(),
}


def check_transition(old: str, new: str) -> None:
    """Raise InvalidTransitionError if a quote in state `old` can't become `new`."""
    if new not in ALLOWED_TRANSITIONS[old]:
        raise InvalidTransitionError(
            f"This quote is {LABELS[old]}, so it can’t become {LABELS[new]}."
        )
