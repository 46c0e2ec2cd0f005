"""Every safety caution of the product: its standard text and its hazards.

Signal words as in ISO 3864 and ANSI Z535: WARNING where death or serious injury is
possible, CAUTION where injury or damage is.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, ClassVar

WARNING, CAUTION = "WARNING", "CAUTION"
FOOT = "Local regulations and the shop’s safety rules take precedence."


@dataclass(frozen=True)
class Caution:
    """One hazard: `level` and `text` are read together, as "WARNING: mains voltage …".

    `label` is all that fits on the label of a device.
    """

    title: str
    level: str
    text: str
    label: str = ""
    foot: ClassVar[str] = FOOT


SWOLLEN_BATTERY = Caution(
    "Swollen battery",
    WARNING,
    "damaged lithium battery. Fire and explosion hazard. Do not charge, press, bend,"
    " puncture or open. Disconnect the charger. Keep the device away from combustible"
    " material, in a fire-resistant container, and hand the battery to a qualified"
    " waste collector. Do not ship it.",
    label="SWOLLEN BATTERY",
)
MAINS = Caution(
    "Mains voltage",
    WARNING,
    "mains voltage inside. Risk of fatal electric shock. Qualified persons only."
    " Disconnect from the supply, secure against reconnection, verify that it is dead."
    " Capacitors stay charged: discharge through a suitable resistor and measure before"
    " touching. Carry out an electrical safety test before handover.",
    label="MAINS",
)
LIQUID = Caution(
    "Liquid damage",
    CAUTION,
    "liquid damage. Do not switch on or charge. Disconnect battery and power supply."
    " Clean and dry the board before measuring. Wear gloves; residues may be harmful."
    " Record what was spilt and when.",
    label="LIQUID",
)
BATTERY = Caution(
    "Lithium battery",
    CAUTION,
    "lithium battery. Switch off and disconnect the battery before working on the"
    " board. Stop if a cell is swollen, hot or leaking.",
)
HEAT = Caution(
    "Hot air and solder fumes",
    CAUTION,
    "hot air and solder fumes. Shield the battery and nearby parts. Use fume extraction"
    " at the source. Let the board cool before moving it.",
)

# ESD control after IEC 61340-5-1, moisture after IPC/JEDEC J-STD-033 (numbers from
# memory; wording common practice, no source).
MOISTURE = Caution(
    "Moisture-sensitive parts",
    CAUTION,
    "moisture-sensitive parts can crack when heated. Keep them in their dry pack until"
    " use; bake parts whose floor life has expired, as their label says.",
)
STATIC = Caution(
    "Electrostatic discharge",
    CAUTION,
    "electrostatic discharge can destroy components. Wear a grounded wrist strap and"
    " work on a grounded mat; take it off before work on live mains.",
)

SHIPPING = (
    "Lithium batteries are dangerous goods (UN 3480, UN 3481). Do not ship damaged"
    " batteries. Follow the carrier’s rules."
)
BATTERY_IN_PARCEL = (
    "Contains a lithium battery in equipment (UN 3481). Do not crush, puncture or heat."
    " If the parcel is damaged, set it aside and inform the carrier."
)
BATTERY_REMOVED = (
    "Shipped without its battery. The battery was removed and goes to a qualified waste"
    " collector."
)

# Most serious first.
OF_DEVICE = {
    "has_swollen_battery": SWOLLEN_BATTERY,
    "has_mains_voltage": MAINS,
    "has_liquid_damage": LIQUID,
}
"""The caution for each tick at the counter, by the field of the job."""
OF_HAZARD = {"battery": [BATTERY], "mains": [MAINS], "heat": [HEAT, MOISTURE]}
"""The cautions for each hazard of a fault or fix."""


def cautions(
    *, job: Any = None, hazards: Collection[str] = (), at_the_board: bool = False
) -> list[Caution]:
    """The cautions of a job and of the hazards of its faults and fixes, each once.

    `at_the_board` adds the one for whoever touches a board.
    """
    results = [
        caution
        for field, caution in OF_DEVICE.items()
        if job is not None and getattr(job, field)
    ]
    for hazard, of_hazard in OF_HAZARD.items():
        results += of_hazard if hazard in hazards else []
    results += [STATIC] if at_the_board else []
    return list(dict.fromkeys(results))
