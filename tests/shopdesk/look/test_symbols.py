import pytest

from shopdesk.look.symbols import ATTENTION, ICON_OF, icon_for


@pytest.mark.parametrize(
    ("word", "icon"),
    [
        ("Not fixed", ICON_OF["not fixed"]),
        ("not_fixed", ICON_OF["not fixed"]),
        ("credit-note", ICON_OF["credit note"]),
        ("a state that nobody knows", "ring"),
    ],
)
def test_the_icon_of_a_state_is_found_by_its_label_or_its_stored_value(word, icon):
    assert icon_for(word) == icon


def test_what_needs_attention_never_looks_like_an_unknown_state():
    assert [word for word in ATTENTION if icon_for(word) == "ring"] == []
