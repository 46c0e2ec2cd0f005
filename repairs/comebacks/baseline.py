"""What the whole shop's repairs do: the pooled Nelson–Aalen hazard, and what each
pair would show if it did the same.
"""

import numpy as np

from repairs.comebacks.watch import Counts, Floats


def cumulative_hazard(counts: Counts) -> Floats:
    """H0 on each day 0…H: the sum of comebacks over repairs still watched (d/n)."""
    back = counts.back.sum(axis=0)
    watched = counts.at_risk.sum(axis=0)
    return np.cumsum(back / np.maximum(watched, 1))


def expected_returns(counts: Counts, hazard: Floats) -> Floats:
    """Comebacks each pair would show at the shop's own hazard, over its own watch.

    They add up to the comebacks seen, whatever the data: if not, a count is wrong.
    """
    expected = np.asarray(counts.left @ hazard)
    seen = float(counts.returned.sum())
    assert np.isclose(expected.sum(), seen, rtol=1e-9, atol=1e-9), "ΣE is not ΣO"
    return expected


def hazard_before_any_return(counts: Counts) -> float:
    """A stand-in for H0(H) while the shop has seen no comeback at all.

    As if the next repair, watched in full, came back. With the starting prior this
    puts the upper 95 % limit near three over the repairs watched (the rule of three),
    instead of a risk of nought that nobody has shown.
    """
    days = np.arange(counts.within + 1)
    watched = float(counts.left.sum(axis=0) @ days) / max(counts.within, 1)
    return 1.0 / (watched + 1.0)
