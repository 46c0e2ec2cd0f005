"""What is told of the last weeks of the demo shop."""

from dataclasses import dataclass
from decimal import Decimal

PLAN = (
    (75, "uncollected", "MEC-KEYS-UNEVEN"),
    (48, "uncollected", "AUD-JACK-WORN"),
    (44, "quoted", "PWR-JACK-LOOSE"),  # it has run out
    (9, "quoted_by_form", "MEC-HINGE-TORN"),
    (9, "ready_declined", "DSP-BALLS-CRACK"),
    (8, "ready", "AUD-POT-CRACKLE"),
    (8, "not_repairable", "LIQ-BOARD-WET"),
    (7, "failed_proof", "DSP-CABLE-LOOSE"),
    (6, "declined_by_link", "DSP-PANEL-CRACK"),
    (6, "repaired_by_form", "CHG-IC-DEAD"),
    (6, "proven_by_link", "DAT-BOOT-LOST"),
    (6, "ready", "MEC-STICK-DRIFT"),
    (5, "quoted_by_link", "DAT-CHOKE-OPEN"),
    (5, "agreed_to_more", "AUD-RELAY-PIT"),
    (5, "proven_signed", "PWR-PORT-WORN"),
    (5, "ready", "CHG-BAT-SWOLLEN"),
    (4, "needs_parts", "INS-REF-DRIFT"),
    (4, "awaits_parts", "DSP-GLASS-CRACK"),
    (4, "nothing_found", "MEC-HOT"),
    (3, "asks_for_more", "MEC-FAN-NOISE"),
    (3, "with_timer", "PWR-SUPPLY-CAPS"),
    (3, "consented", "AUD-HUM"),
    (2, "diagnosed", "CHG-BAT-WORN"),
    (2, "revised", "AUD-POT-CRACKLE"),
    (2, "booked_in", "PWR-JACK-LOOSE"),
    (1, "diagnosed", "PWR-FET-SHORT"),
    (1, "booked_in", "MEC-STICK-DRIFT"),
    (1, "expected", "DSP-CABLE-LOOSE"),
    (1, "expected", "AUD-RELAY-PIT"),
    (1, "expected", "CHG-IC-DEAD"),
    (0, "booked_in", "LIQ-BOARD-WET"),
)
"""How many days ago, how far it got, and with which fault."""


@dataclass(frozen=True)
class End:
    """A job that was handed back `back` days ago, and what came of its bill.

    `share` of the bill is paid with it, by `means`; without a `code` any fault will do.
    """

    days: int
    back: int
    code: str = ""
    means: str = ""
    share: Decimal = Decimal(1)
    leaves: str = "collected"
    einvoice: str = ""
    verb: str = "ready"
    then: str = ""


ENDS = (
    End(43, 33, "INS-INPUT-BURNT", share=Decimal(0), then="reminded"),
    End(32, 20, "LIQ-BOARD-WET", "card", Decimal("0.25"), "signed"),
    End(16, 5, "AUD-OUTPUT-SHORT", "cash", Decimal("0.5"), verb="ready_with_more"),
    End(12, 4, "", "card", leaves="signed", then="credited_in_part"),
    End(12, 3, "DAT-HUB-DEAD", "", Decimal(0), "posted", "ubl"),
    End(11, 3, "CHG-BAT-SWOLLEN", "transfer", leaves="posted", einvoice="pdf"),
    End(10, 2, "", "cash", then="billed_anew"),
    End(9, 1, "", "card"),
)
