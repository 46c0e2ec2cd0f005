"""What can hurt where a fault is looked for, and the usual caution.

They are the common ones; the shop's own rules and the law of the place go first.
"""

from typing import NamedTuple


class Caution(NamedTuple):
    title: str
    words: str


BATTERY = Caution(
    "Battery",
    "Switch off and disconnect the battery before any work on the board. A cell that is"
    " bulging, hot or leaking is not touched further.",
)
MAINS = Caution(
    "Mains inside",
    "Unplug it and prove it dead. Capacitors keep their charge: discharge them through"
    " a rated resistor and measure before you touch. Work only if you are licensed or"
    " trained for it where you are, and test it for safety after the repair.",
)
HEAT = Caution(
    "Hot air and fume",
    "Shield the battery and what lies beside the part. Extract the fume at its source"
    " and keep your head out of it; let the board cool before you move it.",
)
OF_HAZARD = {"battery": BATTERY, "mains": MAINS, "heat": HEAT}
