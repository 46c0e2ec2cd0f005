"""What is next on a job: one sentence, and the control that does it."""

from typing import Any, NamedTuple

from repairs.jobs import states

NONE, ASSESS, FINDINGS, FAULT, DIAGNOSE, QUOTE, START = (
    *("", "assess", "findings", "fault", "diagnose", "quote"),
    "start_warranty_repair",
)
DISCONNECT, FIX, REPAIR, TEST, COMPLETE_TEST, CLOSE, CLOSE_DECLINED, HAND_OVER = (
    *("disconnect", "fix", "repair", "test", "complete_test"),
    *("close", "close_declined", "hand_over"),
)

LIQUID, BATTERY = "liquid", "battery"
"""Hazards with which a device is not switched on to try it."""

IN_A_LIST = {
    FINDINGS: "Verify the complaint",
    ASSESS: "Assess the return",
    FAULT: "Find the fault",
    DIAGNOSE: "Complete the diagnosis",
    QUOTE: "Write the quote",
    START: "Start the warranty repair",
    FIX: "Select the fix",
    DISCONNECT: "Repair",
    REPAIR: "Repair",
    TEST: "Final test",
    COMPLETE_TEST: "Complete the final test",
    CLOSE: "Close",
    CLOSE_DECLINED: "Close or revise the quote",
    HAND_OVER: "Hand over",
}
"""Each step in a few words; of the others, a list says for whom the job waits."""


class NextStep(NamedTuple):
    text: str
    control: str = NONE


OF_STATE = {
    states.EXPECTED: NextStep("Not here yet. The counter records its arrival."),
    states.QUOTED: NextStep("Quote sent: wait for the customer’s answer."),
    states.TESTED: NextStep(
        "Close the job: enter the outcome and the type of each fix.", CLOSE
    ),
    states.DECLINED: NextStep(
        "Quote declined: close the job as declined or revise the quote.", CLOSE_DECLINED
    ),
    states.READY: NextStep("Ready for handover.", HAND_OVER),
    states.HANDED_OVER: NextStep(
        "Handed over. If the device returns, book in a new job."
    ),
}
OF_HAZARD = {
    BATTERY: "Swollen battery: do not charge it or switch it on. Remove the battery"
    " safely and record what you see.",
    LIQUID: "Liquid damage: do not switch it on. Clean and dry the board, measure, and"
    " record what you see.",
}


def next_step(
    state: str,
    *,
    hazard: str,
    has_findings: bool,
    has_fault: bool,
    is_undecided: bool,
    is_warranty_repair: bool,
    covered_may_begin: bool,
    needs_disconnecting: bool,
    has_fixes: bool,
    tries_to_go: int,
) -> NextStep:
    """Return what to do next on a job in that state.

    A return is assessed after its complaint was verified: before, nobody knows what it
    is. `hazard` is LIQUID, BATTERY or empty.
    """
    if state == states.BOOKED_IN and not has_findings and not has_fault:
        if hazard:
            return NextStep(OF_HAZARD[hazard], FINDINGS)
        return NextStep("Reproduce the complaint and record what you see.", FINDINGS)
    if is_undecided and state in states.AT_THE_BENCH:
        return NextStep("This device was here before: assess the return.", ASSESS)
    if state == states.BOOKED_IN:
        if has_fault:
            text = "When all faults are added, complete the diagnosis."
            return NextStep(text, DIAGNOSE)
        return NextStep("Find the fault and add it.", FAULT)
    if state == states.DIAGNOSED:
        if is_warranty_repair:
            return NextStep("Warranty repair: start without a quote.", START)
        return NextStep("Create a quote.", QUOTE)
    if covered_may_begin:
        text = "Quote sent. The warranty repair may begin; wait with the rest."
        return NextStep(text)
    if state == states.APPROVED:
        if not has_fixes:
            return NextStep("Select the fix for each fault.", FIX)
        if needs_disconnecting:
            text = "Disconnect the battery before working on the board."
            return NextStep(text, DISCONNECT)
        return NextStep("Repair the device, then mark it as repaired.", REPAIR)
    if state == states.REPAIRED:
        if tries_to_go:
            return NextStep(f"Final test: {_passes(tries_to_go)} still needed.", TEST)
        text = "All tests passed: complete the final test."
        return NextStep(text, COMPLETE_TEST)
    return OF_STATE[state]


def hazard_of(job: Any) -> str:
    """Return the hazard with which the device is not switched on, the worse first."""
    if job.has_swollen_battery:
        return BATTERY
    return LIQUID if job.has_liquid_damage else ""


def _passes(number: int) -> str:
    return f"{number} pass{'' if number == 1 else 'es'}"
