"""What contradicts itself within a row of the history file, and what is said of it."""

from datetime import date
from decimal import Decimal

import pytest

from repairs.history.cells import ImportedPart
from repairs.history.rows import ImportRow, check_row

FACTS = {
    "line": 2,
    "job": "25-00007",
    "booked_in": date(2025, 3, 3),
    "handed_back": date(2025, 3, 10),
    "customer": "Ada Fenwick",
    "kind": "radio",
    "model": "T2",
    "fault": "PWR-JACK",
    "fix": "JACK-NEW",
    "fix_name": "Replace the socket",
    "declared": "lasting",
    "outcome": "fixed",
}
PARTS = (ImportedPart("J-5", 2, Decimal("2.50")),)
BELONGS = "Enter the fault that this belongs to."
NO_FAULT = {"fault": "", "fix": "", "fix_name": "", "declared": "", "outcome": ""}


@pytest.mark.parametrize(
    ("facts", "issues"),
    [
        ({}, []),
        ({"handed_back": date(2025, 3, 3)}, []),
        (
            {"handed_back": date(2025, 3, 2)},
            [
                (
                    "handed_back",
                    "Handed over on 2025-03-02, before it was booked in on 2025-03-03.",
                )
            ],
        ),
        (NO_FAULT, []),
        (
            {**NO_FAULT, "fault_name": "Power jack open"},
            [("fault_name", BELONGS)],
        ),
        ({**NO_FAULT, "fix": "JACK-NEW", "handed_back": None}, [("fix", BELONGS)]),
        ({**NO_FAULT, "fix_name": "Replace"}, [("fix_name", BELONGS)]),
        ({**NO_FAULT, "declared": "lasting"}, [("declared", BELONGS)]),
        ({**NO_FAULT, "parts": PARTS}, [("parts", BELONGS)]),
        ({**NO_FAULT, "parts_cost": Decimal(5)}, [("parts_cost", BELONGS)]),
        ({**NO_FAULT, "parts_cost": Decimal(0)}, []),
        (
            {**NO_FAULT, "outcome": "fixed"},
            [("fault", "Outcome is fixed: enter the fault.")],
        ),
        (
            {"fix": "", "outcome": "", "declared": ""},
            [("fix", "The fix has a name but no code.")],
        ),
        (
            {"fix": "", "fix_name": ""},
            [("fix", "Outcome is fixed: enter the fix.")],
        ),
        (
            {"declared": ""},
            [("declared", "Outcome is fixed: enter lasting or stopgap.")],
        ),
        ({"declared": "", "outcome": "not_repairable"}, []),
        (
            {"outcome": ""},
            [("outcome", "Handed over with a fix: enter the outcome.")],
        ),
        ({"outcome": "", "handed_back": None}, []),
        ({"parts": PARTS, "parts_cost": Decimal(5)}, []),
        ({"parts": PARTS, "parts_cost": Decimal("5.0099")}, []),
        ({"parts": PARTS, "parts_cost": Decimal("4.9901")}, []),
        (
            {"parts": PARTS, "parts_cost": Decimal("5.01")},
            [("parts_cost", "parts adds up to 5.00, but parts_cost is 5.01.")],
        ),
        (
            {"parts": PARTS, "parts_cost": Decimal("4.99")},
            [("parts_cost", "parts adds up to 5.00, but parts_cost is 4.99.")],
        ),
        # A part without a cost may have cost the rest.
        (
            {
                "parts": (*PARTS, ImportedPart("J-6", 1, None)),
                "parts_cost": Decimal(9),
            },
            [],
        ),
        (
            {"return_is": "same_fault"},
            [("returned_from", "Enter returned_from or leave return_is empty.")],
        ),
        ({"return_is": "same_fault", "returned_from": "25-00001"}, []),
        (
            {"returned_from": "25-00007"},
            [("returned_from", "A job cannot be a return of itself.")],
        ),
    ],
)
def test_each_contradiction_names_its_column_and_what_to_do(facts, issues):
    assert list(check_row(ImportRow(**(FACTS | facts)))) == issues


def test_the_cost_of_other_parts_is_what_the_listed_ones_leave():
    def other(**facts):
        return ImportRow(**(FACTS | facts)).other_parts_cost

    assert other() == other(parts=PARTS) == 0
    assert other(parts=PARTS, parts_cost=Decimal("7.25")) == Decimal("2.25")
    assert other(parts_cost=Decimal("7.25")) == Decimal("7.25")
