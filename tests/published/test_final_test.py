"""Published values of the final test. Beside each check: its source, and whether
the digits were seen there (published), computed by independent programs (computed), or
are an identity that must hold.
"""

import math
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from scipy.special import beta, betaln
from scipy.stats import betabinom, nbinom

from repairs.jobs.final_test import (
    MAX_TRIES,
    false_pass_probability,
    false_pass_probability_of_hours,
    hours_needed,
    tries_needed,
)

TABLE = pd.read_csv(
    Path(__file__).parent / "data" / "betabinom_clean_trials.csv", comment="#"
)
RISKS = {"n_a20": 0.20, "n_a10": 0.10, "n_a05": 0.05, "n_a01": 0.01}


@pytest.mark.parametrize("column", RISKS)
def test_clean_tries_needed_are_those_of_the_table(column):
    """The data file named in its first line: computed with 40 digits, whole numbers."""
    found = [
        tries_needed(row.k, row.m, risk=RISKS[column]) for row in TABLE.itertuples()
    ]
    assert len(found) >= 15
    assert found == TABLE[column].to_list()


def test_the_pass_probability_of_an_unrepaired_device_is_that_of_the_table():
    """The same file, at the number needed and one below: to its nine digits."""
    for row in TABLE.itertuples():
        at = false_pass_probability(row.k, row.m, passes=row.n_a05)
        below = false_pass_probability(row.k, row.m, passes=row.n_a05 - 1)
        assert at == pytest.approx(row.pred_at_n05, abs=1e-8)
        assert below == pytest.approx(row.pred_at_n05_minus1, abs=1e-8)


@pytest.mark.parametrize(
    ("failed", "tries", "needed"),
    [
        (1, 1, 5), (2, 2, 3), (3, 3, 2), (1, 2, 11), (2, 3, 5), (1, 5, 31), (2, 5, 10),
        (3, 5, 5), (5, 5, 2), (1, 10, 63), (2, 10, 22), (3, 10, 12), (5, 10, 6),
        (10, 10, 1), (1, 20, 126), (3, 20, 26),
    ],
)  # fmt: skip
def test_the_numbers_that_the_bench_meets_most(failed, tries, needed):
    """Computed; written out here so that a wrong data file can't hide a wrong sum."""
    assert tries_needed(failed, tries) == needed


def test_the_product_is_the_ratio_of_two_beta_functions():
    """Identity, by a general library: B(a, b + n) / B(a, b), and a beta-binomial with
    no failure in n tries."""
    for failed, tries, clean in [(0, 3, 10), (1, 1, 5), (2, 10, 22), (1, 20, 400)]:
        a, b = failed + 0.5, tries - failed + 0.5
        chance = false_pass_probability(failed, tries, passes=clean)
        assert chance == pytest.approx(beta(a, b + clean) / beta(a, b), rel=1e-10)
        assert chance == pytest.approx(
            math.exp(betaln(a, b + clean) - betaln(a, b)), rel=1e-10
        )
        assert chance == pytest.approx(betabinom.pmf(0, clean, a, b), rel=1e-10)


def test_taking_the_share_for_the_truth_would_ask_for_too_few():
    """The plug-in ln(risk) / ln(1 - k/m) says 29 for one in ten: computed, as above."""
    plug_in = math.ceil(math.log(0.05) / math.log(1 - 1 / 10))
    assert plug_in == 29
    assert false_pass_probability(1, 10, passes=plug_in) > 2 * 0.05


@pytest.mark.parametrize("clean", [14, 112, 167])
def test_no_failure_at_all_agrees_with_the_rule_of_three(clean):
    """Hanley and Lippman-Hand, JAMA 1983; 249:1743-1745: after 0 of n, "3/n" is the
    upper 95 % limit; its cases 0/14, 0/112 and 0/167 (published).

    Ours, seen from the other side: a device that fails as rarely as 3/n passes n tries
    about one time in twenty, and the more surely its rate is known, the nearer to it.
    """
    rate = 3 / clean
    seen = 100_000
    chance = false_pass_probability(round(rate * seen), seen, passes=clean)
    assert chance == pytest.approx((1 - rate) ** clean, rel=0.01)
    assert 0.03 < chance < 0.05
    exact = 1 - 0.05 ** (1 / clean)
    assert false_pass_probability(
        round(exact * seen), seen, passes=clean
    ) == pytest.approx(0.05, rel=0.01)


def test_fifty_nine_clean_tries_show_95_of_100_with_95_percent():
    """59: help page of R tolerance::distfree.est, after Natrella 1963, NBS Handbook 91
    (published). Where the rate is known to be 1 in 20, ours comes to the same."""
    seen = 2_000_000
    assert tries_needed(seen // 20, seen) == 59
    assert math.ceil(math.log(0.05) / math.log(0.95)) == 59


def test_hours_are_the_limit_of_many_short_tries():
    """Identity: Gamma(k + 1/2, T) is what Beta(k + 1/2, m - k + 1/2) comes to."""
    for failed, hours in [(1, 8.0), (2, 24.0), (5, 3.0)]:
        tries_an_hour = 500
        needed = hours_needed(failed, hours)
        by_tries = tries_needed(failed, round(hours * tries_an_hour))
        assert by_tries / tries_an_hour == pytest.approx(needed, rel=0.002)
        chance = false_pass_probability_of_hours(failed, hours, clean_hours=needed)
        assert chance == pytest.approx(0.05, rel=1e-12)
        # The negative binomial that a Gamma rate gives a count, by a general library.
        of_none = nbinom.pmf(0, failed + 0.5, hours / (hours + needed))
        assert chance == pytest.approx(of_none, rel=1e-10)


def test_more_failures_before_never_ask_for_more_tries():
    for tries in (1, 5, 20):
        needed = [tries_needed(failed, tries) for failed in range(1, tries + 1)]
        assert needed == sorted(needed, reverse=True)


def test_a_fault_never_seen_ends_at_the_most():
    assert tries_needed(0, 500) == MAX_TRIES


@pytest.mark.parametrize(("failed", "tries"), [(-1, 3), (4, 3)])
def test_counts_that_cannot_be_are_refused(failed, tries):
    with pytest.raises(ValueError, match="between 0 and all"):
        false_pass_probability(failed, tries, passes=1)
    with pytest.raises(ValueError, match="between 0 and all"):
        tries_needed(failed, tries)


@pytest.mark.parametrize("risk", [0, 1, -0.1, float(Decimal("1.5"))])
def test_a_risk_that_cannot_be_is_refused(risk):
    with pytest.raises(ValueError, match="risk"):
        tries_needed(1, 2, risk=risk)
