"""What is next on a job, in one sentence."""

from repairs.jobs import states

OF_STATE = {
    states.EXPECTED: "Not here yet: it is booked in at the counter when it arrives.",
    states.QUOTED: "The customer has the quote: wait for the answer.",
    states.APPROVED: "Do the repair: parts, minutes, then “repair done”.",
    states.TESTED: "Close it: what came of it, and whether the fix is lasting.",
    states.DECLINED: "The customer said no: close it as declined, or revise the quote.",
    states.READY: "Ready: it waits at the counter to be handed back.",
    states.HANDED_OVER: "Handed back. If it comes in again, that is a new job.",
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
    """The next thing to do, told to whoever opens the job."""
    if is_undecided and state in states.AT_THE_BENCH:
        return "This device was here before: decide first what this return is."
    if state == states.BOOKED_IN:
        if has_fault:
            return "If every fault is named, press “fault found”."
        return "Try the complaint, then name the fault."
    if state == states.DIAGNOSED:
        if is_warranty_repair:
            return "The work is under cover: start it, without a quote."
        return "Make the quote."
    if state == states.APPROVED and not has_fixes:
        return "Choose the fix of each fault."
    if state == states.REPAIRED:
        if tries_to_go:
            return f"Proof run: {_tries(tries_to_go)} to go."
        return "Every fault is proven gone: say so."
    return OF_STATE[state]


def _tries(number: int) -> str:
    return f"{number} clean {'try' if number == 1 else 'tries'}"
