"""What can hurt at the bench, and the usual caution; the shop's own rules go first."""

from collections.abc import Collection
from typing import NamedTuple


class Caution(NamedTuple):
    title: str
    words: str


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
MAINS = Caution(
    "Mains inside",
    "Unplug it and prove it dead. Capacitors keep their charge: discharge them through"
    " a rated resistor and measure before you touch. Work only if you are licensed or"
    " trained for it where you are, and test it for safety after the repair.",
)
BATTERY = Caution(
    "Battery",
    "Switch off and disconnect the battery before any work on the board. A cell that is"
    " bulging, hot or leaking is not touched further.",
)
HEAT = Caution(
    "Hot air and fume",
    "Shield the battery and what lies beside the part. Extract the fume at its source"
    " and keep your head out of it; let the board cool before you move it.",
)
OF_HAZARD = {"battery": BATTERY, "mains": MAINS, "heat": HEAT}


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
