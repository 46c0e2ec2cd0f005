"""What the page says by itself: what is next, what a final test is worth."""

from decimal import Decimal

import pytest

from repairs.bench.next_step import next_step
from repairs.jobs import states
from repairs.jobs.final_test import (
    probability_text,
    what_hours_mean,
    what_it_means,
    why_so_many,
)

PLAIN = {
    "hazard": "",
    "has_findings": True,
    "covered_may_begin": False,
    "needs_disconnecting": False,
    "has_fault": True,
    "is_undecided": False,
    "is_warranty_repair": False,
    "has_fixes": True,
    "tries_to_go": 0,
}


@pytest.mark.parametrize("state", states.LABELS)
def test_every_state_says_what_is_next(state):
    assert next_step(state, **PLAIN).text.endswith(".")


def test_what_is_next_follows_the_job():
    def told(state, **facts):
        return next_step(state, **PLAIN | facts).text

    fresh = {"has_fault": False, "has_findings": False}
    assert "Reproduce" in told(states.BOOKED_IN, **fresh)
    # A return is verified before it is assessed.
    assert "Reproduce" in told(states.BOOKED_IN, is_undecided=True, **fresh)
    assert "do not switch it on" in told(states.BOOKED_IN, hazard="liquid", **fresh)
    assert "Find the fault" in told(states.BOOKED_IN, has_fault=False)
    assert "Disconnect" in told(states.APPROVED, needs_disconnecting=True)
    assert "without a quote" in told(states.DIAGNOSED, is_warranty_repair=True)
    assert "assess the return" in told(states.TESTED, is_undecided=True)
    assert "Select the fix" in told(states.APPROVED, has_fixes=False)
    assert "1 pass still needed" in told(states.REPAIRED, tries_to_go=1)
    assert "assess the return" not in told(states.HANDED_OVER, is_undecided=True)


def test_the_words_about_a_final_test_hold_its_figures():
    assert why_so_many(1, 10, needed=63, was_seen=True) == (
        "1 of 10 tries failed before the repair, so 63 passes are needed: a faulty"
        " device would pass this test with a probability of 4.9 %."
    )
    assert "never seen" in why_so_many(1, 1, needed=5, was_seen=False)
    assert what_it_means(1, 3, passes=9, was_seen=True) == (
        "9 clean tries: a fault that showed once in 3 tries would have shown with a"
        " probability of 89 %."
    )
    assert "never seen" in what_it_means(1, 1, passes=9, was_seen=False)
    assert what_hours_mean(2, Decimal(24), clean=Decimal(12)) == (
        "12 clean hours: a fault that showed 2 times in 24 hours would have shown"
        " with a probability of 64 %."
    )
    assert probability_text(0.00001) == "less than 0.1 %"
