"""The parts on the demo shop's shelf."""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True)
class PartFacts:
    number: str
    name: str
    value: str
    bin: str
    cost: Decimal
    supplier: int
    """Its place among the suppliers' names."""


def _part(line: str) -> PartFacts:
    number, name, value, place, cost, supplier = line.split("|")
    return PartFacts(number, name, value, place, Decimal(cost), int(supplier))


PARTS = {
    part.number: part
    for part in map(
        _part,
        """
JCK-5521|charging socket, barrel|5.5 x 2.1 mm|A1|2.40|0
JCK-24C|charging socket, 24 pin|24 pin, mid-mount|A2|1.85|1
FET-30N|power switch transistor|30V 20A DFN|A3|0.68|1
FUS-3A|fuse|3A 1206|A3|0.12|1
CHG-51|charging controller|QFN-28|A4|3.90|0
CAP-22|capacitor|22uF 6.3V X5R|B1|0.09|1
CAP-470|electrolytic capacitor|470uF 35V|B1|0.55|1
CAP-4700|reservoir capacitor|4700uF 63V|B2|4.20|2
COIL-10|power inductor|10uH 6A|B3|0.74|1
BAT-3S|battery, three cells|11.4V 48Wh|C1|31.00|0
BAT-1S|battery, one cell|3.85V 16Wh|C1|12.50|0
LCD-14|display panel, 14 inch|1920 x 1080|D1|58.00|0
LCD-8|display and glass, 8 inch|1280 x 800|D2|34.00|0
FLX-30|display cable, 30 pin|30 pin|D3|6.20|0
FLX-HNG|hinge cable set||D3|8.10|0
BLK-21|backlight driver|WLCSP-20|D4|2.75|1
CMC-90|data line choke|90R@100MHz 0504|B4|0.21|1
ESD-5|surge guard for data lines|5V SOT-23-6|B4|0.18|1
HUB-4|data hub controller|QFN-24|B4|2.10|1
RLY-24|speaker relay|24V 2 pole|E1|3.60|2
OUT-PR|output transistor pair|matched pair|E2|7.90|2
POT-50|volume control|50k log, stereo|E3|5.30|2
JCK-635|audio socket|6.35 mm|E4|1.95|2
JCK-35|audio socket|3.5 mm, 5 pin|E4|0.95|2
MIC-B|microphone capsule|bottom port|E5|1.10|1
FAN-50|fan|5V 50 mm|F1|6.90|0
KEY-14|keyboard deck, 14 inch||F2|21.00|0
HNG-14|hinge pair, 14 inch||F3|9.40|0
BTN-SW|push switch|3 x 4 mm|F4|0.24|1
ENC-20|rotary encoder|20 steps|F4|2.30|2
STK-2|thumb stick||F4|3.20|0
CNT-RUB|key contact strip|12 keys|F5|4.10|2
NOR-16|boot memory|16 Mbit SO-8|G1|1.40|1
REF-5|voltage reference|5V 0.05% SO-8|G2|4.80|2
ATT-1|input attenuator block||G2|14.50|2
PST-1|thermal paste, one dose||G3|0.40|0
GLU-1|display adhesive, one set||G3|1.60|0
""".strip().splitlines(),
    )
}
