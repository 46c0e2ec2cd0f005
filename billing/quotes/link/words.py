"""Where a device is, in the words of its owner."""

from repairs.jobs import states

WHERE = {
    states.EXPECTED: "We are waiting for it to arrive.",
    states.BOOKED_IN: "It is here, and we will look for the fault.",
    states.DIAGNOSED: "We have found the fault and are working out what it costs.",
    states.QUOTED: "We have told you what it costs, and wait for your answer.",
    states.APPROVED: "You said yes: it is being mended, or next in line for it.",
    states.DECLINED: "It will not be mended. We are putting it together for you.",
    states.REPAIRED: "The work is done. We are trying whether it holds.",
    states.PROVEN: "The work is done and has proven itself. We are finishing up.",
    states.READY: "It is ready for you to collect.",
    states.HANDED_BACK: "You have it back.",
}
BY_POST = "It is ready, and will come to you by post."
UNDER_COVER = "It is being mended under cover: this costs you nothing."

CAME_OF_IT = {
    states.FIXED: "It is mended.",
    states.NOT_FIXED: "We could not mend it.",
    states.NO_FAULT_FOUND: "We could not make the fault show.",
    states.NOT_REPAIRABLE: "It can’t be mended at a bench.",
    states.DECLINED_BY_CUSTOMER: "It is as you brought it.",
}

WAITING = {
    "customer": "We need an answer from you to go on.",
    "parts": "Parts for it are on their way to us.",
    "post": "It waits for the post.",
}


def where(state: str, *, is_by_post: bool = False, is_under_cover: bool = False) -> str:
    """A sentence on where a job in `state` is."""
    if state == states.READY and is_by_post:
        return BY_POST
    if state == states.APPROVED and is_under_cover:
        return UNDER_COVER
    return WHERE[state]


def came_of_it(state: str, outcome: str) -> str:
    """What came of it, once it is finished; empty before."""
    if state not in (states.READY, states.HANDED_BACK):
        return ""
    return CAME_OF_IT.get(outcome, "")
