"""What can hurt at the bench, and the usual caution; the shop's own rules go first."""

from collections.abc import Collection

from repairs.faults.hazards import MAINS, OF_HAZARD, Caution

SWOLLEN = Caution(
    "Swollen battery",
    "Stop: do not charge, press, puncture or pry it. Put it in a fire-resistant"
    " container away from anything that burns, and give it to a trained take-back. Do"
    " not send it by post.",
)
LIQUID = Caution(
    "Liquid got in",
    "Do not power it up to try. Disconnect the battery and all power first; dry and"
    " clean the board before you measure. Wear gloves: what got in may be harmful.",
)


def cautions(
    *, swollen: bool, liquid: bool, mains: bool, hazards: Collection[str]
) -> list[Caution]:
    """The cautions of a job, the gravest first, each once."""
    found = [
        caution
        for caution, holds in ((SWOLLEN, swollen), (MAINS, mains), (LIQUID, liquid))
        if holds
    ]
    for hazard, caution in OF_HAZARD.items():
        if hazard in hazards and caution not in found:
            found.append(caution)
    return found
