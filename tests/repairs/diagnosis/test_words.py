"""Words of complaints are the same whatever their case, accents and endings."""

import pytest

from repairs.diagnosis.words import MAX_WORDS, stems


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Charging", "charges"),
        ("FLICKERS", "flickering"),
        ("Café", "cafe"),
        ("lädt", "LADT"),
        ("Geräusche", "gerausch"),
        ("Anschlüsse", "Anschlusse"),
        ("groß", "gross"),
    ],
)
def test_one_word_in_two_forms_is_one(one, other):
    assert stems(one) == stems(other) and len(stems(one)) == 1


def test_words_that_say_nothing_are_left_out():
    assert stems("It is the one that I have, und es ist nicht mehr da!") == frozenset()
    assert stems("4k7 R12 ... 3.3 V") == frozenset()


def test_a_pasted_document_is_cut():
    text = " ".join(f"w{chr(97 + n % 26)}{chr(97 + n // 26)}x" for n in range(200))
    assert len(stems(text)) == MAX_WORDS
