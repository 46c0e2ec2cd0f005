"""How a device is handed over, and what must not be shipped.

Lithium batteries are dangerous goods: UN 3480 alone, UN 3481 in or with equipment. A
damaged or swollen one must not be shipped by post and never by air (ADR special
provision 376; 49 CFR 173.185(f)). Carriers and local regulations may forbid more.
"""

from collections.abc import Collection
from dataclasses import dataclass

from shopdesk.plain_gettext import gettext, gettext_noop

COUNTER, POST = "counter", "post"
METHODS = [(COUNTER, gettext_noop("collection")), (POST, gettext_noop("shipping"))]

NO_BATTERY, SOUND, TAKEN_OUT = "none", "sound", "out"
BATTERY = [
    (NO_BATTERY, gettext_noop("no battery")),
    (
        SOUND,
        gettext_noop("installed, undamaged, switched off, packed and marked UN 3481"),
    ),
    (TAKEN_OUT, gettext_noop("removed, recycled by us")),
]
INVOICE, CERTIFICATE = "invoice", "certificate"
"""The documents that can be emailed."""


@dataclass(frozen=True)
class HandoverDetails:
    """How the device is handed over and which documents are emailed.

    `to` is who collected it, `signature` the SVG path they drew, if any; a parcel has
    the other fields.
    """

    how: str = COUNTER
    to: str = ""
    signature: str = ""
    carrier: str = ""
    number: str = ""
    grams: int | None = None
    battery: str = ""
    mail: Collection[str] = ()

    @property
    def is_posted(self) -> bool:
        return self.how == POST


def shipping_problem(
    details: HandoverDetails, *, is_swollen: bool, has_battery: bool
) -> str:
    """Return why the parcel must not be shipped like this; empty if it may."""
    if not details.is_posted:
        return ""
    if details.battery not in (NO_BATTERY, SOUND, TAKEN_OUT):
        return gettext("Select the battery status before shipping.")
    if is_swollen and details.battery != TAKEN_OUT:
        return gettext(
            "The battery is swollen. A damaged battery must not be shipped and must not"
            " travel by air. Remove it or choose collection."
        )
    if has_battery and details.battery == NO_BATTERY:
        return gettext(
            "The fault book lists a lithium battery for this repair. Select whether it"
            " is installed or was removed."
        )
    return ""
