"""How a device leaves: over the counter or by post, and what the post forbids.

Lithium batteries are dangerous goods: UN 3480 alone, UN 3481 in or with equipment. A
damaged or swollen one is not posted at all, and never flies (ADR special provision 376;
49 CFR 173.185(f)). What a carrier takes beyond that: its terms and the local rules.
"""

from dataclasses import dataclass

COUNTER, POST = "counter", "post"
WAYS = [(COUNTER, "over the counter"), (POST, "by post")]

NO_BATTERY, SOUND, TAKEN_OUT = "none", "sound", "out"
BATTERY = [
    (NO_BATTERY, "there is none in it"),
    (SOUND, "sound, switched off, packed and marked as the carrier asks (UN 3481)"),
    (TAKEN_OUT, "taken out, it stays here for trained waste take-back"),
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
        return "Say what is with the battery before it goes into the post."
    if is_swollen and leaving.battery != TAKEN_OUT:
        return (
            "Its battery was swollen on arrival: a damaged battery is not posted and"
            " never flies. Take it out, or have the customer collect."
        )
    if has_battery and leaving.battery == NO_BATTERY:
        return (
            "By the fault book it has a lithium battery: say whether it is in the"
            " parcel or was taken out."
        )
    return ""
