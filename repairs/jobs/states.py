"""The states of a job, and what repairs and returns can turn out to be.

The steps between the states are in `workflow.py`.
"""

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
    TESTED: "tested",
    READY: "ready",
    HANDED_OVER: "handed over",
}
CHOICES = list(LABELS.items())

OPEN = frozenset(LABELS) - {HANDED_OVER}
BEFORE_YES = (DIAGNOSED, QUOTED)
ANSWERS = (DIAGNOSED, QUOTED, APPROVED, DECLINED)
PROVING = (REPAIRED, TESTED)
# A step from one of the first to one of the second makes earlier final tests void.
TESTED_BEFORE = (*PROVING, READY)
BACK_TO = (APPROVED, DIAGNOSED)
FINDING = frozenset({BOOKED_IN, DIAGNOSED})
MENDING = FINDING | {APPROVED}
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
    UNDECIDED: "not assessed",
}
