"""What is known of an option, in words a customer can hold against us.

Rounding never makes it look better: one in 17.9 is said as one in 17.
"""

import math
from collections.abc import Callable

Spoken = Callable[[str], str]
"""Gives a sentence of ours in the language it is wanted in."""

FEW = 8  # done fewer times, no chance is said
NEVER = "We have not done this repair before."


def one_in(chance: float, *, gettext: Spoken = str) -> str:
    """A chance as one in so many, never fewer comebacks than there are."""
    if chance >= 0.75:
        return gettext("more than 3 in 4")
    if chance > 0.5:
        return gettext("more than half")
    if chance > 0.45:
        return gettext("about half")
    if chance > 1 / 3:
        return gettext("more than 1 in 3")
    n = math.floor(1 / max(chance, 1e-3) + 1e-9)
    steps = ((20, 1), (50, 5), (100, 10), (200, 20))
    step = next((step for below, step in steps if n < below), 50)
    return gettext("about 1 in {n}").format(n=n - n % step)


def times(n: int, *, gettext: Spoken = str) -> str:
    if n == 1:
        return gettext("once")
    return gettext("twice") if n == 2 else gettext("{n} times").format(n=n)


def words_of(
    *, done: int, returned: int, chance: float, within: int, gettext: Spoken = str
) -> str:
    """What the record says of one fix for one fault, within so many days.

    `chance` is what the record makes of it, and is said only where it was done often
    enough.
    """
    if not done:
        return gettext(NEVER)
    if done >= FEW and not returned:
        said = gettext(
            "We have done this repair {times}; no comeback within {days} days so far."
            " We assume {chance} to be cautious."
        )
    elif done >= FEW:
        said = gettext(
            "We have done this repair {times}; {chance} had the same fault again within"
            " {days} days."
        )
    elif returned:
        said = gettext(
            "We have done this repair {times}; the same fault came back {returned}: not"
            " enough repairs for a rate."
        )
    else:
        said = gettext(
            "We have done this repair {times}; not enough repairs for a rate."
        )
    return said.format(
        times=times(done, gettext=gettext),
        returned=times(returned, gettext=gettext),
        chance=one_in(chance, gettext=gettext),
        days=within,
    )


def words_of_all(each: list[tuple[str, str]]) -> str:
    """Of several faults, each named; of one its own words alone."""
    if len(each) == 1:
        return each[0][1]
    return " ".join(f"{name}: {words}" for name, words in each)
