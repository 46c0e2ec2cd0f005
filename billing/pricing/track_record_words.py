"""The track record of a fix in words for the customer.

Rounding never makes it look better: one in 17.9 becomes one in 17.
"""

import math
from collections.abc import Callable

Translate = Callable[[str], str]
"""Returns a text in the language of papers."""

FEW = 8  # repairs below which no rate is given
NEVER = "We have not done this repair before."


def frequency_text(chance: float, *, gettext: Translate = str) -> str:
    """Return a probability as “about 1 in n”, never fewer comebacks than there are."""
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


def times(n: int, *, gettext: Translate = str) -> str:
    if n == 1:
        return gettext("once")
    return gettext("twice") if n == 2 else gettext("{n} times").format(n=n)


def describe_track_record(
    *, done: int, returned: int, chance: float, within: int, gettext: Translate = str
) -> str:
    """Return the track record of one fix for one fault, within so many days.

    `chance` is the estimated comeback risk; it is given only after enough repairs.
    """
    if not done:
        return gettext(NEVER)
    if done >= FEW and not returned:
        text = gettext(
            "We have done this repair {times}; no comeback within {days} days so far."
            " To be cautious, we assume {chance}."
        )
    elif done >= FEW:
        text = gettext(
            "We have done this repair {times}; {chance} had the same fault again within"
            " {days} days."
        )
    elif returned:
        text = gettext(
            "We have done this repair {times}; the same fault came back {returned}: not"
            " enough repairs for a rate."
        )
    else:
        text = gettext(
            "We have done this repair {times}; not enough repairs for a rate."
        )
    return text.format(
        times=times(done, gettext=gettext),
        returned=times(returned, gettext=gettext),
        chance=frequency_text(chance, gettext=gettext),
        days=within,
    )


def describe_all(texts: list[tuple[str, str]]) -> str:
    """Return the texts of several faults, each named; the text alone for one fault."""
    if len(texts) == 1:
        return texts[0][1]
    return " ".join(f"{name}: {text}" for name, text in texts)
