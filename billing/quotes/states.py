"""The states of a quote."""

from django.utils.translation import gettext, gettext_lazy

from shopdesk.errors import InvalidTransitionError

DRAFT = "draft"
SENT = "sent"
ACCEPTED = "accepted"
DECLINED = "declined"
REPLACED = "replaced"

LABELS = {
    DRAFT: gettext_lazy("draft"),
    SENT: gettext_lazy("sent"),
    ACCEPTED: gettext_lazy("accepted"),
    DECLINED: gettext_lazy("declined"),
    REPLACED: gettext_lazy("replaced"),
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
            gettext("This quote is {old}, so it can’t become {new}.").format(
                old=LABELS[old], new=LABELS[new]
            )
        )
