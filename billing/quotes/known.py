"""What is known of an option, in words a customer can hold against us.

Rounding never makes it look better: one in 17.9 is said as one in 17.
"""

import math

FEW = 8  # done fewer times, no chance is said
NEVER = "We have not done this before."


def one_in(chance: float) -> str:
    """A chance as one in so many, never fewer comebacks than there are."""
    if chance >= 0.75:
        return "more than 3 in 4"
    if chance > 0.5:
        return "more than half"
    if chance > 1 / 3:
        return "about half" if chance > 0.45 else "more than 1 in 3"
    n = math.floor(1 / max(chance, 1e-3) + 1e-9)
    steps = ((20, 1), (50, 5), (100, 10), (200, 20))
    step = next((step for below, step in steps if n < below), 50)
    return f"about 1 in {n - n % step}"


def times(n: int) -> str:
    return {1: "once", 2: "twice"}.get(n, f"{n} times")


def words_of(*, done: int, returned: int, chance: float, within: int) -> str:
    """What the record says of one fix for one fault, within so many days.

    `chance` is what the record makes of it, and is said only where it was done often
    enough.
    """
    if not done:
        return NEVER
    said = f"We have done this {times(done)}"
    if done < FEW:
        so_far = f", and {times(returned)} it came back" if returned else ""
        return f"{said}{so_far}; too few to say more."
    if not returned:
        return (
            f"{said}; none has come back within {within} days so far. To be careful we"
            f" reckon with {one_in(chance)}."
        )
    return f"{said}; {one_in(chance)} came back within {within} days."


def words_of_all(each: list[tuple[str, str]]) -> str:
    """Of several faults, each named; of one its own words alone."""
    if len(each) == 1:
        return each[0][1]
    return " ".join(f"{name}: {words}" for name, words in each)
