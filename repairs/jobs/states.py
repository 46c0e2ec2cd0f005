"""The states of a job and the steps between them.

`NEXT` is the whole truth: no screen, form or command can make a step it lacks.
"""

from collections.abc import Collection

from shopdesk.errors import InvalidTransitionError

EXPECTED = "expected"
BOOKED_IN = "booked_in"
DIAGNOSED = "diagnosed"
QUOTED = "quoted"
APPROVED = "approved"
DECLINED = "declined"
REPAIRED = "repaired"
TESTED = "proven"
READY = "ready"
HANDED_OVER = "handed_back"

LABELS = {
    EXPECTED: "expected",
    BOOKED_IN: "booked in",
    DIAGNOSED: "diagnosed",
    QUOTED: "quoted",
    APPROVED: "approved",
    DECLINED: "declined",
    REPAIRED: "repaired",
    TESTED: "proven",
    READY: "ready",
    HANDED_OVER: "handed back",
}
CHOICES = list(LABELS.items())

NEXT: dict[str, frozenset[str]] = {
    EXPECTED: frozenset({BOOKED_IN}),
    # Straight to ready: no fault found, or not repairable.
    BOOKED_IN: frozenset({DIAGNOSED, READY}),
    DIAGNOSED: frozenset({QUOTED, APPROVED, READY}),
    # Back to diagnosed: the quote is revised.
    QUOTED: frozenset({APPROVED, DECLINED, DIAGNOSED}),
    APPROVED: frozenset({REPAIRED, DIAGNOSED, READY}),
    DECLINED: frozenset({READY, DIAGNOSED}),
    # Back to approved: the proof run failed.
    REPAIRED: frozenset({TESTED, APPROVED}),
    TESTED: frozenset({READY, APPROVED}),
    # Back to the bench from the shelf of finished jobs: re-opened, to approved where
    # the customer's yes still stands.
    READY: frozenset({HANDED_OVER, DIAGNOSED, APPROVED}),
    HANDED_OVER: frozenset(),
}

OPEN = frozenset(LABELS) - {HANDED_OVER}
BEFORE_YES = (DIAGNOSED, QUOTED)
PROVING = (REPAIRED, TESTED)
FINDING = frozenset({BOOKED_IN, DIAGNOSED})
AT_THE_BENCH = frozenset({BOOKED_IN, DIAGNOSED, APPROVED, REPAIRED, TESTED})

FIXED = "fixed"
NOT_FIXED = "not_fixed"
NO_FAULT_FOUND = "no_fault_found"
NOT_REPAIRABLE = "not_repairable"
DECLINED_BY_CUSTOMER = "declined"

OUTCOMES = {
    FIXED: "fixed",
    NOT_FIXED: "not fixed",
    NO_FAULT_FOUND: "no fault found",
    NOT_REPAIRABLE: "not repairable",
}
GIVEN_UP = (NOT_FIXED, NO_FAULT_FOUND, NOT_REPAIRABLE)
JOB_OUTCOMES = {**OUTCOMES, DECLINED_BY_CUSTOMER: "declined"}

SAME_FAULT = "same_fault"
NEW_FAULT = "new_fault"
HANDLING_DAMAGE = "handling_damage"
UNDECIDED = "undecided"
RETURN_IS = {
    SAME_FAULT: "same fault",
    NEW_FAULT: "new fault",
    HANDLING_DAMAGE: "handling damage",
    NO_FAULT_FOUND: "no fault found",
    UNDECIDED: "undecided",
}


class WrongStep(InvalidTransitionError):
    """A step that the table does not allow, told as a sentence."""


def check_step(old: str, new: str, *, only_from: Collection[str] | None = None) -> None:
    """Raise WrongStep where a job in state `old` can't become `new`.

    A verb names in `only_from` the states it starts from, where that is fewer than the
    table's.
    """
    if new not in NEXT[old] or (only_from is not None and old not in only_from):
        raise WrongStep(f"A job that is {LABELS[old]} can't become {LABELS[new]}.")
