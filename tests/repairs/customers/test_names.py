import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from repairs.customers.names import normalize_text, phone_digits


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("  Zoë   Müller ", "Zoë Müller"),
        (unicodedata.normalize("NFD", "Zoë Müller"), "Zoë Müller"),
        ("Ада Фенвик", "Ада Фенвик"),
        ("عَلِيّ", unicodedata.normalize("NFC", "عَلِيّ")),
        ("a\u202eb", "ab"),
        ("zero\u200bwidth\ufeff", "zerowidth"),
        ("👩\u200d🔧", "👩\u200d🔧"),
        ("İpek", "İpek"),
        ("tab\tand\nline", "tab and line"),
    ],
)
def test_names_of_any_script_are_normalized(typed, expected):
    assert normalize_text(typed) == expected


def test_line_breaks_of_an_address_are_kept():
    assert normalize_text("3 Alder Yard \r\n Fennport\r\n", keep_lines=True) == (
        "3 Alder Yard\nFennport"
    )


@given(st.text())
def test_normalizing_twice_changes_nothing(text):
    assert normalize_text(normalize_text(text)) == normalize_text(text)


@pytest.mark.parametrize(
    ("words", "digits"),
    [
        ("020 7946 0018", ("02079460018", "2079460018")),
        ("+44 20 7946", ("44207946",)),
        ("+44 (0)20 7946 0018", ("442079460018",)),
        ("0044 20", ("004420", "4420")),
        ("0018", ("0018",)),
        ("54", ()),
        ("studio 54", ()),
        ("12-34", ("1234",)),
    ],
)
def test_phone_digits_drop_the_dialling_prefix(words, digits):
    assert phone_digits(words) == digits
