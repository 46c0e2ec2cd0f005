"""How long a proof run must be to mean something.

Before the repair the fault showed in k of m tries. Its rate p is then uncertain, with
the Jeffreys posterior Beta(k + 1/2, m - k + 1/2); an unmended device passes n clean
tries with probability B(a, b + n) / B(a, b). Using k / m as if it were p would ask for
far too few: once in ten needs 63 clean tries, not 29.
"""

import math

MOST = 30_000
"""No run is longer: a fault never seen can't be proved gone by trying."""


def unmended_passes(failed: int, tries: int, *, clean: int) -> float:
    """Chance that a device still at fault passes `clean` tries without failing.

    `failed` of `tries` failed before the repair. Raises ValueError for counts that
    can't be.
    """
    if not 0 <= failed <= tries:
        raise ValueError("Failed tries must lie between 0 and all tries.")
    a, b = failed + 0.5, tries - failed + 0.5
    chance = 1.0
    for i in range(clean):
        chance *= (b + i) / (a + b + i)
    return chance


def tries_needed(failed: int, tries: int, *, risk: float = 0.05) -> int:
    """Fewest clean tries that an unmended device passes with at most `risk`.

    At least 1, at most MOST.
    """
    if not 0 < risk < 1:
        raise ValueError("The accepted risk must lie between 0 and 1.")
    if not 0 <= failed <= tries:
        raise ValueError("Failed tries must lie between 0 and all tries.")
    a, b = failed + 0.5, tries - failed + 0.5
    chance, clean = 1.0, 0
    while chance > risk and clean < MOST:
        chance *= (b + clean) / (a + b + clean)
        clean += 1
    return max(clean, 1)


def hours_needed(failed: int, hours: float, *, risk: float = 0.05) -> float:
    """Clean hours instead of tries: `failed` failures in `hours` before the repair.

    The rate is Gamma(k + 1/2, T); t = T (risk^(-1/(k + 1/2)) - 1).
    """
    if failed < 0 or hours <= 0 or not 0 < risk < 1:
        raise ValueError("Give failures of 0 or more in hours above 0.")
    return hours * (math.pow(risk, -1 / (failed + 0.5)) - 1)
