"""The check character of a label against outside values, and what it must catch."""

from string import digits

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shopdesk.shop.numbering import (
    ALPHABET,
    check_character,
    job_number,
    label_code,
    read_label,
)

numbers = st.builds(job_number, st.integers(2000, 2099), st.integers(1, 99_999))


@pytest.mark.parametrize(
    ("text", "check"),
    [
        # Documentation of python-stdnum, stdnum.iso7064.mod_37_36 (published there; the
        # same number is the example of the Global Release Identifier).
        ("A12425GABC1234002", "M"),
        # The example of the International Standard Audiovisual Number,
        # 0000-0000-D07A-0090-Q-0000-0000-X: two checks in one (from memory; no page
        # was seen).
        ("00000000D07A0090", "Q"),
        ("00000000D07A009000000000", "X"),
    ],
)
def test_iso_7064_mod_37_36(text, check):
    assert check_character(text) == check


def test_dashes_and_small_letters_make_no_difference():
    assert check_character("a1-2425-gabc1234002") == "M"


@given(numbers)
def test_a_label_leads_back_to_its_number(number):
    assert read_label(label_code(number)) == number
    assert read_label(f" {label_code(number).lower()} ") == number


@given(numbers, st.data())
def test_every_single_wrong_digit_is_caught(number, data):
    """What a hybrid system of ISO/IEC 7064 promises."""
    code = label_code(number)
    place = data.draw(st.sampled_from([i for i, c in enumerate(code) if c in digits]))
    wrong = data.draw(st.sampled_from(digits))
    assume(wrong != code[place])
    if place == len(code) - 1:
        assume(code[-1] in digits)
    assert read_label(code[:place] + wrong + code[place + 1 :]) is None


@given(numbers, st.sampled_from(ALPHABET))
def test_a_wrong_check_character_is_caught(number, other):
    assume(other != check_character(number))
    assert read_label(f"{number}-{other}") is None


def test_nearly_every_swap_of_two_neighbours_is_caught():
    """Of all digit pairs that differ, in every place of a thousand numbers."""
    swaps = missed = 0
    for n in range(1, 100_000, 97):
        number = job_number(2026, n)
        code = label_code(number)
        for i in range(3, 7):
            if code[i] == code[i + 1]:
                continue
            swapped = code[:i] + code[i + 1] + code[i] + code[i + 2 :]
            swaps += 1
            missed += read_label(swapped) is not None
    assert swaps > 3000 and missed / swaps < 0.01


@pytest.mark.parametrize("text", ["", "-", "26-00412", "26-00412-", "--", "ü-Ü"])
def test_what_is_no_label_gives_no_number(text):
    assert read_label(text) is None
