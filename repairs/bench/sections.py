"""Which sections of a job page are open, folded to one line, or hidden."""

from repairs.bench import next_step as steps
from repairs.jobs import states

OPEN, FOLDED, HIDDEN = "open", "folded", "hidden"

FINDINGS, FAULTS, READINGS, PARTS, FINAL_TEST, CLOSE, HISTORY = NAMES = (
    *("findings", "faults", "readings", "parts", "final_test", "close", "history"),
)
# The states in which the bench works on a section.
WORKED_ON = {
    FINDINGS: frozenset({states.BOOKED_IN}),
    FAULTS: states.IN_DIAGNOSIS,
    READINGS: frozenset({states.BOOKED_IN, states.APPROVED, states.REPAIRED}),
    PARTS: frozenset({states.APPROVED}),
    FINAL_TEST: frozenset({states.REPAIRED}),
    CLOSE: frozenset({states.TESTED, states.DECLINED}),
    HISTORY: frozenset(),
}
NOT_YET = {
    FAULTS: frozenset({states.EXPECTED}),
    READINGS: frozenset({states.EXPECTED}),
    PARTS: frozenset({states.EXPECTED, states.BOOKED_IN}),
    FINAL_TEST: states.BEFORE_REPAIRED | {states.EXPECTED, states.QUOTED},
    CLOSE: frozenset({states.EXPECTED}),
}
# Where each form stands, by the first word of its name.
OF_FORM = {
    **dict.fromkeys(("fault", "newfault", "fix", "newfix", "giveup"), FAULTS),
    **dict.fromkeys(("close", "whole", "wayout"), CLOSE),
    "findings": FINDINGS,
    "reading": READINGS,
    "part": PARTS,
    "unstocked": PARTS,
    "final": FINAL_TEST,
    "tries": FINAL_TEST,
}
# The form for a reason changes the diagnosis, unless the job is further.
OF_REASON = {
    states.REPAIRED: FINAL_TEST,
    states.TESTED: FINAL_TEST,
    states.READY: CLOSE,
}


def section_mode(name: str, *, state: str, control: str, is_empty: bool) -> str:
    """Return how the section is shown to whoever may work on it.

    `control` is that of the next step; `is_empty` says that nothing is recorded in the
    section.
    """
    if name == FINDINGS and control != steps.FINDINGS:
        return FOLDED
    if name == READINGS and control == steps.FINDINGS:
        return FOLDED if is_empty else OPEN
    if name == FAULTS and control == steps.FIX:
        return OPEN
    if name == PARTS and control == steps.FIX:
        return FOLDED
    if state in WORKED_ON[name]:
        return OPEN
    if is_empty and (state in NOT_YET.get(name, ()) or state not in states.OPEN):
        return HIDDEN
    return FOLDED
