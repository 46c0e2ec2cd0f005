"""The Open Repair Data Standard, version 0.3: its fields and codes.

Sources: “field reference” and the lists of values in `standard.rst` of the repository
github.com/openrepair/datastandard (commit 4a306a8), and for the names and the order of
the columns `aggregated/202507/tableschema.json` of github.com/openrepair/data (commit
4a5209d), where the standard's `product_age_estimate` is called `product_age`.
"""

import re
from collections.abc import Iterable

COLUMNS = (
    *("id", "data_provider", "country", "partner_product_category"),
    *("product_category", "product_category_id", "brand", "year_of_manufacture"),
    *("product_age", "repair_status", "repair_barrier_if_end_of_life"),
    *("group_identifier", "event_date", "problem"),
)
UNKNOWN, FIXED, REPAIRABLE = "Unknown", "Fixed", "Repairable"
END_OF_LIFE = "End of life"
UNKNOWN_BRAND = "Unknown"
"""The value that the table schema gives for a missing brand."""

CATEGORIES = {
    1: "Aircon/dehumidifier",
    2: "Battery/charger/adapter",
    3: "Decorative or safety lights",
    4: "Desktop computer",
    5: "Digital compact camera",
    6: "DSLR/video camera",
    7: "Fan",
    8: "Flat screen",
    9: "Hair & beauty item",
    10: "Handheld entertainment device",
    11: "Headphones",
    12: "Hi-Fi integrated",
    13: "Hi-Fi separates",
    14: "Kettle",
    15: "Lamp",
    16: "Laptop",
    17: "Large home electrical",
    18: "Misc",
    19: "Mobile",
    20: "Musical instrument",
    21: "Paper shredder",
    22: "PC accessory",
    23: "Portable radio",
    24: "Power tool",
    25: "Printer/scanner",
    26: "Projector",
    27: "Sewing machine",
    28: "Small home electrical",
    29: "Small kitchen item",
    30: "Tablet",
    31: "Toaster",
    32: "Toy",
    33: "TV and gaming-related accessories",
    34: "Vacuum",
    35: "Watch/clock",
    36: "Coffee maker",
    37: "Food processor",
    38: "Games console",
    39: "Hair dryer",
    40: "Iron",
}
MISC = 18

# Which words of a shop's own kind mean which category: after the examples in the notes
# of the standard's list where it has one, else our judgement. The first match counts.
KINDS = (
    (2, "battery charger adapter adaptor"),
    (22, "mouse mice webcam dock keyboard router"),
    (33, "controller gamepad remote receiver dvd blu-ray"),
    (38, "console"),
    (10, "handheld walkman mp3"),
    (11, "headphones headphone headset earphones earbuds"),
    (16, "laptop notebook"),
    (30, "tablet e-reader satnav"),
    (19, "phone smartphone mobile"),
    (4, "desktop pc computer tower server"),
    (8, "television tv monitor screen display"),
    (26, "projector"),
    (25, "printer scanner copier"),
    (6, "dslr camcorder video"),
    (5, "camera"),
    (20, "instrument synthesizer synth guitar piano organ"),
    (23, "radio"),
    (12, "boombox stereo hi-fi"),
    (13, "amplifier amp speaker turntable deck tuner cd"),
    (35, "watch clock"),
    (24, "drill saw grinder sander"),
    (34, "vacuum"),
    (36, "espresso coffee"),
    (32, "toy drone"),
    (28, "multimeter oscilloscope doorbell thermostat"),
)


def category_of(kind: str) -> int:
    """Return the number of the category that a shop's kind of device belongs to."""
    named = {name.casefold(): number for number, name in CATEGORIES.items()}
    if kind.strip().casefold() in named:
        return named[kind.strip().casefold()]
    words = set(re.findall(r"[\w-]+", kind.casefold()))
    for number, meant in KINDS:
        if words & set(meant.split()):
            return number
    return MISC


def status_of(outcome: str, *, has_stopgap: bool) -> str:
    """Return the repair status of a job with this outcome.

    “Fixed” is a device that can continue to be used. After a stopgap, and where the
    customer declined the repair that was quoted, the further steps are known:
    “Repairable”. What nobody could find or repair says nothing of the device:
    “Unknown”. These are our choices, as the standard has no such outcomes.
    """
    statuses = {
        "fixed": REPAIRABLE if has_stopgap else FIXED,
        "declined": REPAIRABLE,
        "not_repairable": END_OF_LIFE,
    }
    return statuses.get(outcome, UNKNOWN)


def problem_of(repairs: Iterable[tuple[str, str]]) -> str:
    """Return faults and fixes in the words of the fault book, none of a person."""
    texts = (f"{fault}: {fix}" if fix else fault for fault, fix in repairs)
    return "; ".join(dict.fromkeys(texts))
