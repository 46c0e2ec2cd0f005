"""What customers are told is known: in few words, and never better than it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.pricing.track_record_words import (
    describe_all,
    describe_track_record,
    frequency_text,
)


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (1 / 30, "about 1 in 30"),
        (1 / 17.9, "about 1 in 17"),
        (0.125, "about 1 in 8"),
        (1 / 28, "about 1 in 25"),
        (1 / 3, "about 1 in 3"),
        (0.4, "more than 1 in 3"),
        (0.49, "about half"),
        (0.6, "more than half"),
        (0.9, "more than 3 in 4"),
        (0.0, "about 1 in 1000"),
    ],
)
def test_a_chance_is_said_as_one_in_so_many(chance, said):
    assert frequency_text(chance) == said


@given(st.floats(0.001, 1 / 3))
def test_rounding_never_makes_it_look_better(chance):
    n = int(frequency_text(chance).split()[-1])
    assert 1 / n >= chance - 1e-9
    assert n >= 0.8 / chance - 1


def said(done, returned, chance=1 / 30):
    return describe_track_record(done=done, returned=returned, chance=chance, within=90)


def test_often_done_is_said_with_its_chance():
    assert said(41, 1) == (
        "We have done this repair 41 times; about 1 in 30 had the same fault again"
        " within 90 days."
    )


def test_few_are_said_to_be_few():
    assert (
        said(2, 0) == "We have done this repair twice; not enough repairs for a rate."
    )
    assert "came back twice" in said(5, 2)


def test_never_done_is_said_so():
    assert said(0, 0) == "We have not done this repair before."


def test_no_comeback_so_far_is_no_promise():
    assert "no comeback" in said(41, 0) and "about 1 in 30" in said(41, 0)


def test_several_faults_are_named():
    assert describe_all([("Fan noisy", "A."), ("Jack loose", "B.")]) == (
        "Fan noisy: A. Jack loose: B."
    )
    assert describe_all([("Fan noisy", "A.")]) == "A."
