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
TESTED = "tested"
READY = "ready"
HANDED_OVER = "handed_over"

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
IN_FINAL_TEST = (REPAIRED, TESTED)
# A step from one of the first to one of the second makes earlier final tests void.
TESTED_BEFORE = (*IN_FINAL_TEST, READY)
BACK_TO = (APPROVED, DIAGNOSED)
IN_DIAGNOSIS = frozenset({BOOKED_IN, DIAGNOSED})
BEFORE_REPAIRED = IN_DIAGNOSIS | {APPROVED}
# The customer has agreed, and the bench is not done with it.
IN_WORK = frozenset({APPROVED, REPAIRED, TESTED})
AT_THE_BENCH = frozenset({BOOKED_IN, DIAGNOSED, APPROVED, REPAIRED, TESTED})

FIXED = "fixed"
NOT_FIXED = "not_fixed"
NO_FAULT_FOUND = "no_fault_found"
NOT_REPAIRABLE = "not_repairable"
DECLINED_BY_CUSTOMER = "declined"
NOT_CODED = "not_coded"

OUTCOMES = {
    FIXED: "fixed",
    NOT_FIXED: "not fixed",
    NO_FAULT_FOUND: "no fault found",
    NOT_REPAIRABLE: "not repairable",
}
NOT_REPAIRED = (NOT_FIXED, NO_FAULT_FOUND, NOT_REPAIRABLE)
CLOSED_WITH = {**OUTCOMES, DECLINED_BY_CUSTOMER: "declined"}
# A past job is not coded until somebody says which fault and fix it had.
JOB_OUTCOMES = {**CLOSED_WITH, NOT_CODED: "not coded yet"}

SAME_FAULT = "same_fault"
NEW_FAULT = "new_fault"
HANDLING_DAMAGE = "handling_damage"
UNDECIDED = "undecided"
RETURN_ASSESSMENTS = {
    SAME_FAULT: "same fault",
    NEW_FAULT: "new fault",
    HANDLING_DAMAGE: "handling damage",
    NO_FAULT_FOUND: "no fault found",
    UNDECIDED: "not assessed",
}
