"""The final test: how many tries make it mean something, and whether it is passed.

Before the repair the fault showed in k of m tries. Its rate p is then uncertain, with
the Jeffreys posterior Beta(k + 1/2, m - k + 1/2); a faulty device passes n tries
with probability B(a, b + n) / B(a, b). Using k / m as if it were p would ask for
far too few: once in ten needs 63 passes, not 29.
"""

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

MAX_TRIES = 30_000
"""No test is longer: a fault that was never seen cannot be ruled out by testing."""


Counts = tuple[int, int]
"""Failures, and the tries in which they occurred."""


class Test(Protocol):
    """One record of the final test: tries, and how many passes were needed then."""

    tries: int
    needed: int
    hours: Decimal | None
    needed_hours: Decimal | None


def false_pass_probability(failures: int, tries: int, *, passes: int) -> float:
    """Return the probability that a faulty device passes so many tries in a row.

    It failed in `failures` of `tries` before the repair. Raises ValueError for counts
    that cannot be.
    """
    if not 0 <= failures <= tries:
        raise ValueError("Failures must lie between 0 and all tries.")
    a, b = failures + 0.5, tries - failures + 0.5
    chance = 1.0
    for i in range(passes):
        chance *= (b + i) / (a + b + i)
    return chance


def tries_needed(failures: int, tries: int, *, risk: float = 0.05) -> int:
    """Return the fewest passes that a faulty device makes with at most this `risk`.

    At least 1, at most MAX_TRIES.
    """
    if not 0 < risk < 1:
        raise ValueError("The accepted risk must lie between 0 and 1.")
    if not 0 <= failures <= tries:
        raise ValueError("Failures must lie between 0 and all tries.")
    a, b = failures + 0.5, tries - failures + 0.5
    chance, passes = 1.0, 0
    while chance > risk and passes < MAX_TRIES:
        chance *= (b + passes) / (a + b + passes)
        passes += 1
    return max(passes, 1)


def weaker_evidence(*seen: Counts) -> Counts:
    """Return the failures and tries before the repair that need more passes after it.

    A fault that shows less often at the counter than at the bench needs the passes of
    the counter. Where it never failed, one failure in one try is taken.
    """
    failed = [counts for counts in seen if counts[0]]
    return max(failed, key=lambda counts: tries_needed(*counts), default=(1, 1))


def hours_needed(failures: int, hours: float, *, risk: float = 0.05) -> float:
    """Return the hours without failure needed after `failures` in `hours` before.

    The rate is Gamma(k + 1/2, T); t = T (risk^(-1/(k + 1/2)) - 1).
    """
    if failures < 0 or hours <= 0 or not 0 < risk < 1:
        raise ValueError("Give failures of 0 or more in hours above 0.")
    return hours * (math.pow(risk, -1 / (failures + 0.5)) - 1)


def false_pass_probability_of_hours(
    failures: int, hours: float, *, clean_hours: float
) -> float:
    """Return the probability that a faulty device runs so many hours without failure.

    It failed `failures` times in `hours` before: (T / (T + t))^(k + 1/2), the other way
    round of `hours_needed`. Raises ValueError for counts that cannot be.
    """
    if failures < 0 or hours <= 0 or clean_hours < 0:
        raise ValueError("Give failures of 0 or more in hours above 0.")
    return math.pow(hours / (hours + clean_hours), failures + 0.5)


def clean_hours(tests: Sequence[Test]) -> Decimal:
    """Return the hours without failure of all valid tests together."""
    return sum((test.hours or Decimal(0) for test in tests), Decimal(0))


def hours_to_run(tests: Sequence[Test]) -> Decimal | None:
    """Return the hours that the last soak test needed; None if there was none."""
    return next(
        (one.needed_hours for one in reversed(tests) if one.needed_hours is not None),
        None,
    )


def passes(tests: Sequence[Test]) -> int:
    """Return the passes of all valid tests together."""
    return sum(test.tries for test in tests)


def is_passed(tests: Sequence[Test]) -> bool:
    """Return whether the valid tests reach what the last of them needed: in tries, or
    in hours."""
    needed_hours = hours_to_run(tests)
    is_soaked = needed_hours is not None and clean_hours(tests) >= needed_hours
    return is_soaked or (bool(tests) and passes(tests) >= tests[-1].needed)


def problem(tests: Sequence[Test]) -> str:
    """Return what keeps the final test from being passed, or an empty string."""
    if not tests:
        return "no final test yet."
    if is_passed(tests):
        return ""
    text = f"{passes(tests)} of {tests[-1].needed} passes"
    if needed_hours := hours_to_run(tests):
        text += f", {clean_hours(tests):.4g} of {needed_hours:.4g} hours"
    return f"{text} so far."


# --- in words -------------------------------------------------------------------


def probability_text(probability: float) -> str:
    """Return a probability as people read it: 0.0496 → 5.0 %."""
    if probability < 0.001:
        return "less than 0.1 %"
    return f"{probability * 100:.1f} %"


def why_so_many(failures: int, tries: int, *, needed: int, was_seen: bool) -> str:
    """Say how many passes are needed, and why so many."""
    many = "1 pass is" if needed == 1 else f"{needed} passes are"
    chance = false_pass_probability(failures, tries, passes=needed)
    if not was_seen:
        return (
            f"The fault was not reproduced here, so {many} required, as after one"
            " failure in one try. An intermittent fault that was never seen cannot be"
            " ruled out by testing."
        )
    return (
        f"{failures} of {tries} tries failed before the repair, so {many} needed: a"
        " faulty device would pass this test with a probability of"
        f" {probability_text(chance)}."
    )


def what_it_means(failures: int, tries: int, *, passes: int, was_seen: bool) -> str:
    """Say what the passes made so far prove."""
    made = "1 clean try" if passes == 1 else f"{passes} clean tries"
    if not was_seen:
        return f"{made}: proves little, as the fault was never seen here."
    chance = false_pass_probability(failures, tries, passes=passes)
    return (
        f"{made}: a fault that showed {_times(failures)} in {tries}"
        f" {'try' if tries == 1 else 'tries'} would have shown with a probability of"
        f" {_shown_text(chance)}."
    )


def what_hours_mean(failures: int, hours: Decimal, *, clean: Decimal) -> str:
    """Say what the hours run so far prove."""
    chance = false_pass_probability_of_hours(
        failures, float(hours), clean_hours=float(clean)
    )
    return (
        f"{clean:.4g} clean hours: a fault that showed {_times(failures)} in"
        f" {hours:.4g} hours would have shown with a probability of"
        f" {_shown_text(chance)}."
    )


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _shown_text(false_pass: float) -> str:
    if false_pass < 0.001:
        return "more than 99.9 %"
    return f"{(1 - false_pass) * 100:.{1 if false_pass < 0.01 else 0}f} %"
