"""Dates, amounts, durations and words as people write them."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from repairs.sheet_import.sheet_columns import suggest
from repairs.sheet_import.text_groups import group_texts, merge, split
from repairs.sheet_import.written_values import (
    COMMA,
    DAY_FIRST,
    HOURS,
    MINUTES,
    MONTH_FIRST,
    POINT,
    AmountNotation,
    DateNotation,
    UnclearValueError,
    detect_decimal,
    detect_order,
    read_minutes,
    read_yes,
)
from tests.repairs.sheet_import import sheets

NOV = date(2024, 11, 6)


def read(how, cell):
    try:
        return how(cell)
    except UnclearValueError as error:
        return str(error)


@pytest.mark.parametrize(
    ("cell", "order", "expected"),
    [
        ("06.11.2024", "", NOV),
        ("6.11.24", MONTH_FIRST, NOV),
        ("06/11/24", DAY_FIRST, NOV),
        ("11/06/2024", MONTH_FIRST, NOV),
        ("06/11/24", "", "choose whether"),
        ("25/11/24", "", date(2024, 11, 25)),
        ("11/25/24", DAY_FIRST, "does not have the day before month"),
        ("07/07/2024", "", date(2024, 7, 7)),
        ("2024-11-06", "", NOV),
        ("2024-11-06 14:30:00", "", NOV),
        ("06.11.2024 9.30 Uhr", "", NOV),
        ("20241106", "", NOV),
        ("11 Nov 2024", "", date(2024, 11, 11)),
        ("Nov 11th, 2024", "", date(2024, 11, 11)),
        ("3. März 24", "", date(2024, 3, 3)),
        ("Mi, 6. Dezember 2023", "", date(2023, 12, 6)),
        ("Wed 6.11.2024", "", NOV),
        ("45659", "", date(2025, 1, 2)),
        (45659, "", date(2025, 1, 2)),
        (NOV, "", NOV),
        ("31.02.2024", "", "is not a date"),
        ("6.11.", "", "has no year"),
        ("11 Nov", "", "has no year"),
        ("Nov 2024", "", "has no day"),
        ("06.11.2042", "", "is outside"),
        ("soon", "", "is not a date"),
        ("12345", "", "is not a date"),
        ("1.2.3.4", "", "is not a date"),
        (timedelta(hours=1), "", "is not a date"),
    ],
)
def test_a_date_is_read_as_written_or_refused_with_the_reason(cell, order, expected):
    found = read(DateNotation(order, date(2026, 3, 2)).read, cell)
    assert found == expected if isinstance(expected, date) else expected in found


@pytest.mark.parametrize(
    ("cell", "decimal", "expected"),
    [
        ("€ 45", "", "45"),
        ("45,00", "", "45"),
        ("45.5 EUR", "", "45.5"),
        ("£1,234.50", "", "1234.50"),
        ("1.234,50", "", "1234.50"),
        ("1 234,50 €", "", "1234.50"),
        ("1'234.50 CHF", "", "1234.50"),
        ("1.000.000", "", "1000000"),
        ("340,-", "", "340"),
        ("340.–", "", "340"),
        ("1.234", COMMA, "1234"),
        ("1.234", POINT, "more than 2 decimal places"),
        ("1.234", "", "choose whether"),
        ("0.500", "", "0.5"),
        ("free", "", "0"),
        ("Garantie", "", "0"),
        ("-", "", None),
        ("n/a", "", None),
        (19.99, "", "19.99"),
        (45, "", "45"),
        (-3, "", "negative"),
        ("-12,00", "", "negative"),
        ("45 + 20", "", "not one amount"),
        ("ca. 50", "", "not one amount"),
        ("1,23,456", "", "not one amount"),
        ("9999999", "", "more than"),
        (NOV, "", "not an amount"),
    ],
)
def test_an_amount_is_read_as_written_or_refused_with_the_reason(
    cell, decimal, expected
):
    found = read(AmountNotation(decimal, 2, Decimal(1_000_000)).read, cell)
    if isinstance(found, str):
        assert expected in found
    else:
        assert found == (None if expected is None else Decimal(expected))


@pytest.mark.parametrize(
    ("cell", "unit", "expected"),
    [
        ("1h30", MINUTES, 90),
        ("1 h 30 min", MINUTES, 90),
        ("90 min", MINUTES, 90),
        ("90", MINUTES, 90),
        ("1:30", MINUTES, 90),
        ("1,5 Std.", MINUTES, 90),
        ("1½", HOURS, 90),
        ("1.5", HOURS, 90),
        (1.5, HOURS, 90),
        ("45'", MINUTES, 45),
        (timedelta(minutes=90), MINUTES, 90),
        ("-", MINUTES, None),
        ("a while", MINUTES, "not a duration"),
        ("999999", MINUTES, "not between"),
    ],
)
def test_a_duration_is_read_in_minutes(cell, unit, expected):
    found = read(lambda text: read_minutes(text, unit=unit), cell)
    assert expected in found if isinstance(found, str) else found == expected


def test_yes_may_be_followed_by_more():
    words = ("yes", "YES - again dead", "ja", "x", "no", "nein!", "", "-", 0)
    assert [read_yes(word) for word in words] == [True] * 4 + [False] * 5
    assert "neither" in read(read_yes, "perhaps")


def test_what_is_ambiguous_is_told_by_the_other_cells_or_asked():
    assert detect_order(["03/04/24", "25/04/24"]) == (DAY_FIRST, ["03/04/24"])
    assert detect_order(["04/25/24", "25/04/24"])[0] == ""
    assert detect_order(["3.4.24", "2024-04-03"]) == ("", [])
    assert detect_decimal(["1.234", "45,00"]) == (COMMA, ["1.234"])
    assert detect_decimal(["45.00", "45,00", 7])[0] == ""


def test_headers_of_both_languages_and_contents_suggest_the_fields():
    german = sheets.columns(
        ["Auftragsnr.", "Kundenname", "Eingangsdatum", "Abgeholt am", "Gerät", "Betrag"]
    )
    assert list(suggest(german).values()) == [
        *("job", "customer", "booked_in", "handed_over", "model", "charged")
    ]
    bare = sheets.columns(
        ["A", "B", "C", "D"],
        ["ada@example.org", "1.2.2024", "4.2.2024", "01632 960123"],
        ["ben@example.org", "3.2.2024", "9.2.2024", "01632 960124"],
    )
    assert list(suggest(bare).values()) == [
        *("email", "booked_in", "handed_over", "phone")
    ]


def test_texts_of_one_meaning_are_grouped_split_and_merged():
    texts = ["screen cracked"] * 3 + ["Cracked screen!"] * 2 + ["screen craked"]
    texts += ["charging port loose"] * 2 + ["no idea"]
    groups = group_texts(texts, entries={"PORT": "Charging port loose"})
    assert [(group.size, len(group.texts), group.code) for group in groups] == [
        (6, 3, ""),
        (2, 1, "PORT"),
        (1, 1, ""),
    ]
    apart = split(groups, 0, ["screen craked"])
    assert [group.size for group in apart] == [5, 2, 1, 1]
    together = merge(apart, {0, 2})
    assert [group.size for group in together] == [6, 2, 1]
    named = [together[0].changed(name="Screen cracked"), *together[1:]]
    again = group_texts([*texts, "crackd screen"], entries={}, decided=named)
    assert (again[0].code, again[0].name) == ("SCREEN-CRACKED", "Screen cracked")
    assert [group.size for group in again] == [6, 2, 1, 1]
