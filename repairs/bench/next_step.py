"""What is next on a job, in one sentence."""

from repairs.jobs import states

OF_STATE = {
    states.EXPECTED: "Not here yet. The counter records its arrival.",
    states.QUOTED: "Quote sent: wait for the customer’s answer.",
    states.APPROVED: "Repair: book parts and time, then mark as repaired.",
    states.TESTED: "Close the job: enter the outcome and the type of each fix.",
    states.DECLINED: "Quote declined: close the job as declined or revise the quote.",
    states.READY: "Ready for handover.",
    states.HANDED_OVER: "Handed over. If the device returns, book in a new job.",
}


def next_step(
    state: str,
    *,
    has_fault: bool,
    is_undecided: bool,
    is_warranty_repair: bool,
    has_fixes: bool,
    tries_to_go: int,
) -> str:
    """Return what to do next on a job in that state."""
    if is_undecided and state in states.AT_THE_BENCH:
        return "This device was here before: assess the return first."
    if state == states.BOOKED_IN:
        if has_fault:
            return "When all faults are added, complete the diagnosis."
        return "Reproduce the complaint, then add the fault."
    if state == states.DIAGNOSED:
        if is_warranty_repair:
            return "Warranty repair: start without a quote."
        return "Create a quote."
    if state == states.APPROVED and not has_fixes:
        return "Select the fix for each fault."
    if state == states.REPAIRED:
        if tries_to_go:
            return f"Final test: {_passes(tries_to_go)} still needed."
        return "All tests passed: complete the final test."
    return OF_STATE[state]


def _passes(number: int) -> str:
    return f"{number} pass{'' if number == 1 else 'es'}"
