"""How a device leaves: over the counter or by post, and what the post forbids.

Lithium batteries are dangerous goods: UN 3480 alone, UN 3481 in or with equipment. A
damaged or swollen one is not posted at all, and never flies (ADR special provision 376;
49 CFR 173.185(f)). What a carrier takes beyond that: its terms and the local rules.
"""

from dataclasses import dataclass

COUNTER, POST = "counter", "post"
WAYS = [(COUNTER, "collection"), (POST, "shipping")]

NO_BATTERY, SOUND, TAKEN_OUT = "none", "sound", "out"
BATTERY = [
    (NO_BATTERY, "no battery"),
    (SOUND, "installed, undamaged, switched off, packed and marked UN 3481"),
    (TAKEN_OUT, "removed, recycled by us"),
]
BILL, CERTIFICATE = "bill", "cover"


@dataclass(frozen=True)
class HandoverDetails:
    """`to` is who took it; `signature` the path of what they drew, if they did."""

    how: str = COUNTER
    to: str = ""
    signature: str = ""
    carrier: str = ""
    number: str = ""
    grams: int | None = None
    battery: str = ""
    mail: frozenset[str] = frozenset()

    @property
    def is_posted(self) -> bool:
        return self.how == POST


def forbidden(leaving: HandoverDetails, *, is_swollen: bool, has_battery: bool) -> str:
    """Why the parcel must not go like this, in a sentence; empty where it may."""
    if not leaving.is_posted:
        return ""
    if leaving.battery not in (NO_BATTERY, SOUND, TAKEN_OUT):
        return "Select the battery status before shipping."
    if is_swollen and leaving.battery != TAKEN_OUT:
        return (
            "The battery is swollen. A damaged battery must not be shipped and must not"
            " travel by air. Remove it or choose collection."
        )
    if has_battery and leaving.battery == NO_BATTERY:
        return (
            "The fault book lists a lithium battery for this repair. Select whether it"
            " is installed or was removed."
        )
    return ""
