"""What becomes of one row of a list: imported, with which values, or left out."""

from datetime import date
from decimal import Decimal

import pytest

from repairs.history.cells import Bounds
from repairs.sheet_import.conversion import convert
from repairs.sheet_import.decisions import Decisions
from repairs.sheet_import.earlier_jobs import PastVisit, visit_keys
from repairs.sheet_import.questions import read_examples
from repairs.sheet_import.text_groups import TextGroup
from tests.repairs.sheet_import import sheets

BOUNDS = Bounds(latest=date(2026, 3, 3), places=2, country="GB")
VALUES = {
    "job": "7",
    "booked_in": "1.2.2024",
    "handed_over": "3.2.2024",
    "customer": "Ada Fenwick",
    "model": "Slate 14",
    "serial": "NW-1",
    "fault": "screen cracked",
    "fix": "new screen",
    "outcome": "fixed",
    "charged": "45,00",
}
NAMES = [*VALUES, "parts_cost", "back_again", "phone", "notes"]
DECIDED = Decisions(
    columns={name: name for name in NAMES},
    decimal="comma",
    without_handover="close",
    without_customer="unknown",
    without_outcome="fixed",
    faults=[TextGroup(["screen cracked"], "SCR", "Screen cracked")],
    fixes=[TextGroup(["new screen"], "NEW", "New screen", "stopgap")],
)


def read(*rows, on_record=(), visits=(), **decided):
    """Return what becomes of rows; each says what differs from `VALUES`."""
    header = [*NAMES, "Shelf"]
    cells = [[(VALUES | row).get(name, "") for name in header] for row in rows]
    return convert(
        sheets.columns(header, *cells),
        DECIDED.changed(**decided),
        bounds=BOUNDS,
        fix_types={},
        on_record=lambda numbers: set(on_record) & set(numbers),
        visits=visits,
    )


@pytest.mark.parametrize(
    ("row", "decided", "expected"),
    [
        ({}, {}, {"fault": "SCR", "fix": "NEW", "outcome": "fixed"}),
        ({}, {}, {"declared": "stopgap", "charged": 45, "needs_coding": False}),
        ({"outcome": ""}, {}, {"outcome": "fixed", "needs_coding": False}),
        ({"outcome": ""}, {"without_outcome": "not coded"}, {"needs_coding": True}),
        ({"fix": "magic"}, {}, {"needs_coding": True, "fix_text": "magic"}),
        ({"fault": "", "fix": ""}, {}, {"needs_coding": True, "charged": 45}),
        (
            {"fault": "", "fix": "", "outcome": "", "charged": ""},
            {},
            {"needs_coding": True, "is_declined": False},
        ),
        (
            {"fix": "", "outcome": "too expensive"},
            {},
            {"is_declined": True, "outcome": "", "fix": "", "fault": "SCR"},
        ),
        (
            {"fault": "", "fix": "", "outcome": "NFF"},
            {},
            {"outcome": "no_fault_found", "needs_coding": False},
        ),
        (
            {"fault": "", "fix": "", "outcome": "NFF", "parts_cost": "5,00"},
            {},
            {"needs_coding": True, "parts_cost": 5},
        ),
        (
            {"fault": "odd", "fix": "", "outcome": "declined", "parts_cost": "5,00"},
            {},
            {
                "is_declined": True,
                "needs_coding": False,
                "charged": 45,
                "bench_notes": "fault found: odd\nparts cost: 5.00",
            },
        ),
        ({"handed_over": ""}, {}, {"handed_back": date(2024, 2, 1)}),
        (
            {"handed_over": "", "outcome": "", "fault": "odd"},
            {"without_handover": "open"},
            {"handed_back": None, "fault": "", "charged": None, "needs_coding": False},
        ),
        (
            {"handed_over": ""},
            {"without_handover": "open"},
            {"handed_back": None, "outcome": "fixed"},
        ),
        ({"customer": ""}, {}, {"customer": "Unknown customer"}),
        ({"model": ""}, {}, {"model": "unknown model", "kind": "device"}),
        ({"phone": "01632 960123"}, {}, {"phone": "+441632960123"}),
        ({"phone": "at work"}, {}, {"phone": "", "bench_notes": "phone: at work"}),
        ({"charged": "see Ben"}, {}, {"bench_notes": "charged: see Ben"}),
        ({"Shelf": "A1", "notes": "rang"}, {}, {"bench_notes": "rang\nShelf: A1"}),
        ({"model": "X" * 90}, {}, {"model": "X" * 80}),
        ({"charged": 45.5}, {}, {"charged": Decimal("45.5")}),
    ],
)
def test_a_row_is_imported_with_what_is_known_of_it(row, decided, expected):
    found = read(row, **decided)
    assert not found.questions and not found.left_out
    (imported,) = found.rows
    assert {name: getattr(imported, name) for name in expected} == expected
    changed = {"customer", "model", "phone", "charged"} & expected.keys()
    if any(row.get(name) in ("at work", "see Ben", "X" * 90) for name in changed):
        assert found.notes


@pytest.mark.parametrize(
    ("row", "decided", "reason"),
    [
        ({"booked_in": ""}, {}, "no day of booking in"),
        ({"booked_in": "6.11."}, {}, "has no year"),
        ({"handed_over": "soon"}, {}, "is not a date"),
        ({"handed_over": "1.1.2024"}, {}, "but booked in on"),
        ({"handed_over": ""}, {"without_handover": "leave out"}, "no day of handover"),
        ({"customer": ""}, {"without_customer": "leave out"}, "no customer"),
        ({}, {"left_out": [2]}, "Left out by you"),
    ],
)
def test_a_row_that_cannot_be_imported_is_listed_with_the_reason(row, decided, reason):
    found = read(row, **decided)
    assert not found.rows
    assert (found.left_out[0].line, reason in found.left_out[0].text) == (2, True)


def test_a_value_typed_in_the_preview_takes_the_place_of_the_cell():
    typed = {"2": {"booked_in": "6.11.2023", "phone": "01632 960123"}}
    (row,) = read({"booked_in": "6.11."}, corrections=typed).rows
    assert (row.booked_in, row.phone) == (date(2023, 11, 6), "+441632960123")


def test_rows_with_one_number_are_repairs_of_one_visit_or_get_numbers_of_their_own():
    second = {"fault": "hinge loose", "fix": "glued"}
    found = read({}, {}, second, {"customer": "Ben"}, {"job": ""}, on_record=["7-2"])
    assert [row.job for row in found.rows][:2] == ["7", "7"]
    assert found.already == [5] and "recorded as 7-2" in found.notes[0].text
    assert "same as row 2" in found.left_out[0].text
    number = found.rows[-1].job
    assert number == read({"job": ""}).rows[0].job and number.startswith("S240201-")


def test_back_again_links_the_earlier_job_of_the_device():
    yes = {"back_again": "YES - again dead"}
    later = {"job": "8", "booked_in": "20.2.2024", "handed_over": "21.2.2024"}
    first, again = read({}, later | yes).rows
    assert (again.returned_from, again.return_is) == ("7", "same_fault")
    both = read({}, later | yes, later | yes | {"fault": "hinge", "fix": "glue"})
    assert [row.return_is for row in both.rows] == ["", "same_fault", "same_fault"]
    other = later | yes | {"fault": "no idea"}
    assert read({}, other).rows[1].return_is == ""
    # Other shops mark the job that came back.
    assert [row.returned_from for row in read(yes, later).rows] == ["", "7"]
    nobody = later | yes | {"serial": "NW-2"}
    found = read({}, nobody)
    assert not any(row.returned_from for row in found.rows)
    assert "no other job of this device" in found.notes[0].text
    key = visit_keys(customer="X", maker="", model="Y", serial="NW-2")
    past = PastVisit("3", key, date(2024, 1, 2), date(2024, 1, 3))
    assert read({}, nobody, visits=[past]).rows[1].returned_from == "3"
    assert read({}, later | yes, earlier={"3": ""}).rows[1].returned_from == ""
    assert "no job 99" in read({}, later | yes, earlier={"3": "99"}).notes[0].text


def test_what_is_unclear_is_asked_once_for_the_file():
    dates = {"booked_in": "03/04/24", "handed_over": "04/05/24", "outcome": "limbo"}
    found = read(
        dates | {"charged": "1.234"},
        dates | {"handed_over": "", "customer": "", "job": "8", "charged": ""},
        **dict.fromkeys(("decimal", "without_handover", "without_customer"), ""),
    )
    assert [question.name for question in found.questions] == [
        *("date_order", "decimal", "without_handover", "without_customer"),
        "outcomes",
    ]
    missing = DECIDED.changed(columns={"model": "model"})
    asked = convert(
        sheets.columns(["model"], ["X"]), missing, bounds=BOUNDS, fix_types={}
    )
    assert [question.name for question in asked.questions] == ["columns", "columns"]


def test_each_notation_of_a_list_is_shown_with_the_value_it_is_read_as():
    columns = sheets.columns(
        ["booked_in", "customer", "charged"],
        *(["45659", "A", "€ 45"], ["45660", "B", "1,5"], ["6.11.", "C", "free"]),
    )
    decided = DECIDED.changed(columns={name: name for name in columns.names})
    found = read_examples(columns, decided, BOUNDS)
    assert [(one.written, one.value) for one in found] == [
        ("45659", date(2025, 1, 2)),
        ("6.11.", None),
        ("€ 45", 45),
        ("1,5", Decimal("1.5")),
        ("free", 0),
    ]
    assert "has no year" in found[1].problem
